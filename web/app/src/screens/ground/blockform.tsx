import { useRef, useState } from "preact/hooks";
import { asProblem, Problem } from "../../api/problem";
import { named } from "../../i18n";
import { feature, outlineFollows, type Stored } from "../../model/kinds";
import { uuid7 } from "../../model/uuid7";
import { MainAction } from "../../ui/action";
import { Choice, TextField } from "../../ui/form";
import { useRecords, useText } from "../../ui/hooks";
import { LengthField } from "../../ui/length";
import { faultOf, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { formNumber, typedNumber } from "../../units/typed";
import type { PlaceProps } from "../place";
import { type BlockForm, formOf, propertiesOf, startFrom, unreadable } from "./draft";
import { type Outline, OutlineEditor } from "./outline";
import { OutlineEffectLater } from "./planting/later";

const fields = ["name", "crop", "cultivar", "planted_on", "outline_follows", "row_spacing_m", "plant_spacing_m", "row_bearing_deg", "first_row_side", "first_plant_end"];

/** Draws a new block (block null), or changes one: its outline and what it says. */
export function BlockEditor({ farm, api, map, go, block }: PlaceProps & { block: Stored<"blocks"> | null }) {
  const t = useText();
  const others = useRecords(farm, "blocks").list;
  const [form, setForm] = useState<BlockForm>(() => (block ? formOf(block.feature.properties) : startFrom(others)));
  const [outline, setOutline] = useState<Outline | null>(block?.feature.geometry ?? null);
  const [why, setWhy] = useState("");
  const [base, setBase] = useState(block);
  const [problem, setProblem] = useState<Problem | null>(null);
  const [busy, setBusy] = useState(false);
  const [asks, setAsks] = useState<string | null>(null);
  // One id for all tries, so that a save whose answer was lost is not stored twice.
  const id = useRef(block?.id ?? uuid7());
  const set = (change: Partial<BlockForm>) => setForm((f) => ({ ...f, ...change }));

  const missing = !form.name.trim()
    ? t("ground-need-name")
    : !outline
      ? t("ground-need-outline")
      : unreadable(form).length > 0
        ? t("ground-need-numbers")
        : (asks ?? undefined);
  const save = async () => {
    if (!outline || missing) return;
    setBusy(true);
    setProblem(null);
    try {
      const properties = propertiesOf(form, base?.feature.properties);
      const taken = await farm.put("blocks", feature<"blocks">(id.current, outline, properties), base, why.trim() || undefined);
      say(t("ground-saved-plain", { name: properties.name }));
      go({ block: taken.id, view: undefined });
    } catch (thrown) {
      setProblem(asProblem(thrown));
    } finally {
      setBusy(false);
    }
  };
  const takeNewer = async () => {
    const newer = await api.get("blocks", id.current);
    farm.know(newer);
    setBase(newer);
    setProblem(null);
  };
  const figureFault = (field: keyof BlockForm) => (Number.isNaN(form[field]) ? t("ground-not-number") : faultOf(problem, field));
  const geometryFault = problem?.errors.find((e) => e.position || e.ring !== undefined || e.field?.startsWith("geometry"))?.detail;
  return (
    <>
      <h1>{block ? t("ground-edit-title", { name: block.feature.properties.name }) : t("ground-new-title")}</h1>
      {problem?.stale ? (
        <div class="problem" role="alert">
          <p>{t("ground-stale", { name: form.name })}</p>
          <button type="button" onClick={() => void takeNewer().catch((e: unknown) => setProblem(asProblem(e)))}>
            {t("ground-stale-take")}
          </button>
        </div>
      ) : (
        <ProblemNote problem={problem} map={map} fields={fields} />
      )}
      <OutlineEditor map={map} start={outline} onOutline={setOutline} fault={geometryFault} onWalk={block ? undefined : () => go({ view: "round" })} />
      {block && <OutlineEffectLater farm={farm} api={api} map={map} block={block} outline={outline} onAsks={setAsks} />}
      <TextField label={t("ground-name")} value={form.name} onValue={(name) => set({ name })} required fault={faultOf(problem, "name")} id="ground-name" />
      <div class="pair">
        <TextField
          label={t("ground-crop")}
          value={form.crop}
          onValue={(crop) => set({ crop })}
          list={["blackberry", "raspberry"]}
          fault={faultOf(problem, "crop")}
        />
        <TextField label={t("ground-cultivar")} value={form.cultivar} onValue={(cultivar) => set({ cultivar })} fault={faultOf(problem, "cultivar")} />
      </div>
      <TextField label={t("ground-planted-on")} type="date" value={form.planted_on} onValue={(planted_on) => set({ planted_on })} fault={faultOf(problem, "planted_on")} />
      <Choice
        label={t("ground-follows")}
        hint={t("ground-follows-hint")}
        value={form.outline_follows}
        onValue={(outline_follows) => set({ outline_follows })}
        choices={outlineFollows.map((v) => ({ value: v, label: named("ground-follows-", v) }))}
        empty={t("core-not-said")}
        fault={faultOf(problem, "outline_follows")}
      />
      <div class="pair">
        <LengthField label={t("ground-row-spacing")} metres={form.row_spacing_m} onMetres={(row_spacing_m) => set({ row_spacing_m })} fault={figureFault("row_spacing_m")} id="ground-row-spacing" />
        <LengthField label={t("ground-plant-spacing")} metres={form.plant_spacing_m} onMetres={(plant_spacing_m) => set({ plant_spacing_m })} fault={figureFault("plant_spacing_m")} id="ground-plant-spacing" />
      </div>
      <BearingField map={map} value={form.row_bearing_deg} onValue={(row_bearing_deg) => set({ row_bearing_deg })} fault={figureFault("row_bearing_deg")} />
      <FirstFields form={form} set={set} />
      {block && <TextField label={t("ground-why")} hint={t("ground-why-hint")} value={why} onValue={setWhy} />}
      <div class="buttons">
        <button type="button" onClick={() => history.back()}>
          {t("core-cancel")}
        </button>
      </div>
      <MainAction
        label={form.name.trim() ? t("ground-save-block", { name: form.name.trim() }) : t("ground-save-unnamed")}
        run={() => void save()}
        blocked={missing}
        busy={busy}
      />
    </>
  );
}

/** Degrees from true north, typed or taken from how the map is turned. */
export function BearingField({ map, value, onValue, fault }: { map: PlaceProps["map"]; value: number | undefined; onValue: (v: number | undefined) => void; fault?: string }) {
  const t = useText();
  const [text, setText] = useState(() => formNumber(value, 2));
  const fromMap = () => {
    let turned = 0;
    map.onTurn((deg) => (turned = deg))();
    setText(formNumber(turned, 1));
    onValue(Number(turned.toFixed(1)));
  };
  return (
    <>
      <TextField
        label={t("ground-bearing")}
        hint={t("ground-bearing-hint")}
        unit="°"
        inputMode="decimal"
        value={text}
        onValue={(v) => {
          setText(v);
          onValue(v.trim() === "" ? undefined : typedNumber(v));
        }}
        fault={fault}
        id="ground-bearing"
      />
      <div class="buttons">
        <button type="button" onClick={fromMap}>
          {t("ground-bearing-map")}
        </button>
      </div>
    </>
  );
}

/** Which corner row 1 and plant 1 are counted from. */
export function FirstFields({ form, set }: { form: Pick<BlockForm, "first_row_side" | "first_plant_end">; set: (change: Partial<BlockForm>) => void }) {
  const t = useText();
  return (
    <div class="pair">
      <Choice
        label={t("ground-first-row")}
        value={form.first_row_side}
        onValue={(first_row_side) => set({ first_row_side })}
        choices={(["left", "right"] as const).map((v) => ({ value: v, label: t(`ground-side-${v}`) }))}
        empty={t("core-not-said")}
      />
      <Choice
        label={t("ground-first-plant")}
        value={form.first_plant_end}
        onValue={(first_plant_end) => set({ first_plant_end })}
        choices={(["start", "end"] as const).map((v) => ({ value: v, label: t(`ground-end-${v}`) }))}
        empty={t("core-not-said")}
      />
    </div>
  );
}
