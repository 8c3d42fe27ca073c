import { useEffect, useRef, useState } from "preact/hooks";
import { asProblem } from "../../api/problem";
import { writeCorners } from "../../geo/cornertext";
import { language, moment } from "../../i18n";
import type { OutlineMode } from "../../map/farmmap";
import { uuid7 } from "../../model/uuid7";
import { MainAction } from "../../ui/action";
import { Check, Choice, TextArea, TextField } from "../../ui/form";
import { MapBar } from "../../ui/mapbar";
import { useSignal, useText } from "../../ui/hooks";
import { Mark, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { units } from "../../units";
import type { PlaceProps } from "../place";
import type { Worked } from "./answer";
import { build, type DraftForm, type FieldFault, fieldId, type LineForm, metresPer, metresPerSecond, patterns, rotations, type SetbackForm, type SpeedUnit, type Stretch } from "./draft";
import { faultsAt, LengthField, PerChoice, ProductFields, SetbackFields, UnitChoice } from "./fields";
import { Cautions, Figures, type Named, type RateOf, useGround } from "./result";
import { passFeature } from "./saved";
import { MethodFields, type SprayersAnswer } from "./sprayers";

const emptyLine: LineForm = { product: "", name: "", value: "", unit: "", per: "acre", of: "" };

/** The first form of a farm, in the units of the toggle; later ones repeat the last tank, spray and band. */
function firstForm(farm: string, block: string | undefined): DraftForm {
  const us = units.get() === "us";
  const first: DraftForm = {
    blocks: block ? [block] : [],
    rows: {},
    corners: "",
    pattern: "broadcast",
    band: { text: "", unit: us ? "in" : "m" },
    sides: 2,
    setbacks: [],
    windFrom: "",
    wind: { text: "", unit: us ? "mph" : "km/h" },
    lines: [emptyLine],
    carrier: { value: "", unit: us ? "gal" : "L", per: us ? "acre" : "ha" },
    tank: { value: "", unit: us ? "gal" : "L" },
    start: "",
    harvestOn: "",
    stretches: {},
    sprayer: "",
    method: "",
    droplets: "",
    height: "",
    rotation: "",
  };
  return { ...first, ...repeated(farm) };
}

type Repeated = Partial<Pick<DraftForm, "band" | "carrier" | "tank">>;

function repeated(farm: string): Repeated {
  try {
    return JSON.parse(localStorage.getItem(`caneward.pass.${farm}`) ?? "{}") as Repeated;
  } catch {
    return {};
  }
}

function repeat(farm: string, { band, carrier, tank }: DraftForm): void {
  try {
    localStorage.setItem(`caneward.pass.${farm}`, JSON.stringify({ band, carrier, tank }));
  } catch {
    return;
  }
}

interface Done {
  readonly asked: Readonly<Record<string, unknown>>;
  readonly worked: Worked;
  readonly at: string;
  /** The form it was worked out from; another one makes the figures old. */
  readonly form: DraftForm;
}

/** Plans a pass: the form, the server's figures, and saving both as a draft. */
export function Planner(props: PlaceProps & { readonly named: Named; readonly onSaved: (id: string) => void }) {
  const t = useText();
  const { farm, api, map, named, address } = props;
  const zone = farm.info.zone;
  const [form, setForm] = useState<DraftForm>(() => firstForm(farm.id, address.block));
  const [faults, setFaults] = useState<readonly FieldFault[]>([]);
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  const [done, setDone] = useState<Done | null>(null);
  const [stopReason, setStopReason] = useState("");
  const [stopFault, setStopFault] = useState<string>();
  const [id, setId] = useState(uuid7);
  const result = useRef<HTMLElement>(null);
  const set = (part: Partial<DraftForm>) => setForm((f) => ({ ...f, ...part }));
  const faultAt = faultsAt(faults, problem ? asProblem(problem) : null);

  const toggle = (block: string, on: boolean) =>
    setForm((f) => ({ ...f, blocks: on ? [...f.blocks.filter((b) => b !== block), block] : f.blocks.filter((b) => b !== block) }));
  useEffect(
    () =>
      map.onPick((pick) => {
        if (pick?.layer === "blocks") setForm((f) => ({ ...f, blocks: f.blocks.includes(pick.id) ? f.blocks.filter((b) => b !== pick.id) : [...f.blocks, pick.id] }));
      }),
    [map],
  );
  useEffect(() => {
    const shapes = named.blocks.filter((b) => form.blocks.includes(b.id)).map((b) => ({ id: b.id, geometry: b.feature.geometry }));
    map.setOverlay("pass-blocks", shapes, "chosen");
    return () => map.setOverlay("pass-blocks", null);
  }, [map, form.blocks, named.blocks]);
  useGround(map, done?.worked ?? null);
  const stale = form !== done?.form;

  const workOut = async () => {
    const built = build(form, zone);
    setFaults(built.ok ? [] : built.faults);
    setProblem(null);
    if (!built.ok) {
      document.getElementById(fieldId(built.faults[0]?.field ?? ""))?.focus();
      return;
    }
    setBusy(true);
    try {
      const worked = await api.treatedArea<Worked>(built.body);
      setDone({ asked: built.body, worked, at: new Date().toISOString(), form });
      repeat(farm.id, form);
      requestAnimationFrame(() => result.current?.scrollIntoView({ block: "start" }));
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };

  const stops = done?.worked.checks?.some((c) => c.answer === "stop") ?? false;
  const save = async () => {
    if (!done) return;
    if (stops && !stopReason.trim()) return setStopFault(t("pass-stop-reason-missing"));
    setStopFault(undefined);
    setProblem(null);
    setBusy(true);
    try {
      await farm.put("passes", passFeature({ id, asked: done.asked, worked: done.worked, at: done.at, stopReason: stopReason.trim() }), null);
      setId(uuid7());
      say(t("pass-saved"));
      props.onSaved(id);
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };

  // The server's words come in the language they were asked in.
  const spokenIn = useSignal(language);
  const askedIn = useRef(spokenIn);
  useEffect(() => {
    if (askedIn.current === spokenIn) return;
    askedIn.current = spokenIn;
    if (done || problem !== null) void workOut();
  }, [spokenIn]);

  const fieldsShown = (asProblem(problem ?? new Error()).errors ?? []).flatMap((e) => (e.field && document.getElementById(fieldId(e.field)) ? [e.field] : []));
  const rates = ((done?.asked["products"] ?? []) as { rate: RateOf }[]).map((p) => p.rate);
  return (
    <>
      <h2>{t("pass-new")}</h2>
      <fieldset id={fieldId("blocks")} tabIndex={-1}>
        <legend>{t("pass-blocks")}</legend>
        <p class="hint">{t("pass-blocks-hint")}</p>
        {named.blocks.map((b) => (
          <Check key={b.id} label={b.feature.properties.name} checked={form.blocks.includes(b.id)} onChecked={(on) => toggle(b.id, on)} />
        ))}
        {faultAt("blocks", true) && <p class="fault">{faultAt("blocks", true)}</p>}
      </fieldset>
      {form.pattern !== "spot" &&
        form.blocks.map((block) => (
          <TextField
            key={block}
            id={fieldId(`rows.${block}`)}
            label={t("pass-rows", { block: named.blocks.find((b) => b.id === block)?.feature.properties.name ?? "" })}
            hint={t("pass-rows-hint")}
            optional
            value={form.rows[block] ?? ""}
            fault={faultAt(`rows.${block}`, true)}
            onValue={(text) => set({ rows: { ...form.rows, [block]: text } })}
          />
        ))}
      <Choice
        id={fieldId("pattern")}
        label={t("pass-pattern")}
        value={form.pattern}
        choices={patterns.map((p) => ({ value: p, label: t(`pass-pattern-${p}`) }))}
        fault={faultAt("pattern")}
        onValue={(pattern) => set({ pattern })}
      />
      <GroupOfFinds api={props.api} map={map} blocks={named.blocks.filter((b) => form.blocks.includes(b.id))} stretches={form.stretches} onStretches={(stretches) => set({ stretches })} />
      {form.pattern === "spot" && <SpotGround map={map} corners={form.corners} fault={faultAt("area", true)} onCorners={(corners) => set({ corners })} />}
      {form.pattern === "band" && (
        <>
          <LengthField label={t("pass-band")} hint={t("pass-band-hint")} field="band_width_m" value={form.band} units={["in", "ft", "m", "cm"]} fault={faultAt("band_width_m")} onValue={(band) => set({ band })} />
          <Choice
            id={fieldId("sides")}
            label={t("pass-sides")}
            value={String(form.sides) as "1" | "2"}
            choices={[
              { value: "2", label: t("pass-sides-2") },
              { value: "1", label: t("pass-sides-1") },
            ]}
            fault={faultAt("sides")}
            onValue={(sides) => set({ sides: sides === "1" ? 1 : 2 })}
          />
        </>
      )}
      <h3>{t("pass-products")}</h3>
      {form.lines.map((line, i) => (
        <ProductFields
          key={i}
          n={i}
          form={line}
          products={named.products}
          faultAt={faultAt}
          onForm={(next) => set({ lines: form.lines.with(i, next) })}
          onDrop={form.lines.length > 1 ? () => set({ lines: form.lines.toSpliced(i, 1) }) : undefined}
        />
      ))}
      {faultAt("products") && <p class="fault">{faultAt("products")}</p>}
      <button type="button" onClick={() => set({ lines: [...form.lines, emptyLine] })}>
        {t("pass-product-add")}
      </button>
      <Machine {...props} form={form} fault={faultAt("sprayer") ?? faultAt("method") ?? faultAt("height_m")} onForm={set} />
      <h3>{t("pass-setbacks")}</h3>
      {form.setbacks.map((s, i) => (
        <SetbackFields
          key={i}
          n={i}
          form={s}
          named={named.surroundings}
          faultAt={faultAt}
          onForm={(next) => set({ setbacks: form.setbacks.with(i, next) })}
          onDrop={() => set({ setbacks: form.setbacks.toSpliced(i, 1) })}
        />
      ))}
      <div class="buttons">
        <button type="button" onClick={() => set({ setbacks: [...form.setbacks, newSetback()] })}>
          {t("pass-setback-add")}
        </button>
        {labelSetbacks(form, named).map(({ product, add }) => (
          <button key={product} type="button" onClick={() => set({ setbacks: [...form.setbacks, ...add] })}>
            {t("pass-setback-label", { product })}
          </button>
        ))}
      </div>
      <TextField id={fieldId("wind_from_deg")} label={t("pass-wind-from")} hint={t("pass-wind-from-hint")} inputMode="decimal" optional value={form.windFrom} fault={faultAt("wind_from_deg")} onValue={(windFrom) => set({ windFrom })} />
      <SpeedField label={t("pass-wind-speed")} field="wind_speed_m_s" value={form.wind} fault={faultAt("wind_speed_m_s")} onValue={(wind) => set({ wind })} />
      <TextField id={fieldId("carrier.value")} label={t("pass-carrier")} inputMode="decimal" optional value={form.carrier.value} fault={faultAt("carrier.value") ?? faultAt("carrier")} onValue={(value) => set({ carrier: { ...form.carrier, value } })} />
      <div class="pair">
        <UnitChoice spray label={t("pass-carrier-unit")} field="carrier.unit" value={form.carrier.unit} fault={faultAt("carrier.unit")} onValue={(unit) => set({ carrier: { ...form.carrier, unit } })} />
        <PerChoice spray label={t("pass-carrier-per")} field="carrier.per" value={form.carrier.per} fault={faultAt("carrier.per")} onValue={(per) => set({ carrier: { ...form.carrier, per } })} />
      </div>
      <div class="pair">
        <TextField id={fieldId("tank.value")} label={t("pass-tank")} inputMode="decimal" optional value={form.tank.value} fault={faultAt("tank.value") ?? faultAt("tank")} onValue={(value) => set({ tank: { ...form.tank, value } })} />
        <UnitChoice spray label={t("pass-tank-unit")} field="tank.unit" value={form.tank.unit} fault={faultAt("tank.unit")} onValue={(unit) => set({ tank: { ...form.tank, unit } })} />
      </div>
      <TextField id={fieldId("start")} label={t("pass-start")} hint={t("pass-start-hint", { zone })} type="datetime-local" optional value={form.start} fault={faultAt("start")} onValue={(start) => set({ start })} />
      <TextField id={fieldId("harvest_on")} label={t("pass-harvest")} type="date" optional value={form.harvestOn} fault={faultAt("harvest_on")} onValue={(harvestOn) => set({ harvestOn })} />
      <Choice
        id={fieldId("rotation")}
        label={t("label-rotation")}
        value={form.rotation}
        onValue={(rotation) => set({ rotation })}
        choices={rotations.map((v) => ({ value: v, label: t(`label-rotation-${v}`) }))}
        empty={t("label-rotation-unsaid")}
        fault={faultAt("rotation")}
      />
      {problem !== null && <ProblemNote problem={problem} map={map} fields={fieldsShown} />}
      {done && (
        <section aria-live="polite" ref={result}>
          {stale && (
            <p>
              <Mark answer="caution" /> {t("pass-again")}
            </p>
          )}
          <Figures planning map={map} worked={done.worked} rates={rates} tank={done.asked["tank"] as { value: number; unit: string } | undefined} named={named} date={moment(done.at, zone)} zone={zone} />
          {stops && <TextArea label={t("pass-stop-reason")} rows={2} value={stopReason} fault={stopFault} onValue={setStopReason} />}
          <button type="button" disabled={busy || stale} onClick={() => void save()}>
            {t("pass-save")}
          </button>
        </section>
      )}
      <Cautions />
      <MainAction label={busy ? t("pass-working") : t("pass-work-out")} run={() => void workOut()} busy={busy} />
    </>
  );
}

const newSetback = (): SetbackForm => ({ from: "water", distance: { text: "", unit: units.get() === "us" ? "ft" : "m" }, side: "all", halfAngle: "", toEdge: "", bank: { text: "", unit: units.get() === "us" ? "ft" : "m" }, strip: false });

/** Setbacks typed from the labels of the chosen products that the form lacks. */
function labelSetbacks(form: DraftForm, named: Named): { product: string; add: SetbackForm[] }[] {
  return form.lines.flatMap((line) => {
    const p = named.products.find((r) => r.id === line.product)?.feature.properties;
    const typed = (p?.["setbacks"] ?? []) as { from?: string; distance_m?: number; side?: string; half_angle_deg?: number; from_edge?: string; to_edge?: string; bank_m?: number; strip?: boolean }[];
    const add = typed
      .filter((s) => s.from && s.distance_m && s.from_edge !== "mixing-place")
      .map((s): SetbackForm => ({
        from: s.from ?? "",
        distance: { text: String(s.distance_m), unit: "m" },
        side: s.side === "downwind" ? "downwind" : "all",
        halfAngle: s.half_angle_deg === undefined ? "" : String(s.half_angle_deg),
        toEdge: s.to_edge === "water-edge" || s.to_edge === "top-of-bank" ? s.to_edge : "",
        bank: { text: s.bank_m === undefined ? "" : String(s.bank_m), unit: "m" },
        strip: s.strip === true,
      }))
      .filter((s) => !form.setbacks.some((f) => f.from === s.from && f.side === s.side && f.distance.text === s.distance.text));
    return p && add.length > 0 ? [{ product: p.name, add }] : [];
  });
}

export function SpeedField(props: { label: string; field: string; value: { text: string; unit: SpeedUnit }; fault: string | undefined; onValue: (v: { text: string; unit: SpeedUnit }) => void }) {
  const t = useText();
  const speeds = Object.keys(metresPerSecond) as SpeedUnit[];
  return (
    <div class="pair">
      <TextField id={fieldId(props.field)} label={props.label} inputMode="decimal" optional value={props.value.text} fault={props.fault} onValue={(text) => props.onValue({ ...props.value, text })} />
      <Choice label={t("pass-unit", { what: props.label.toLowerCase() })} value={props.value.unit} choices={speeds.map((u) => ({ value: u, label: u }))} onValue={(unit) => props.onValue({ ...props.value, unit })} />
    </div>
  );
}

/** The machine: one of the farm's, or how spray leaves it, which the exclusion zone hangs on. */
function Machine({ api, form, fault, onForm }: PlaceProps & { form: DraftForm; fault: string | undefined; onForm: (part: Partial<DraftForm>) => void }) {
  const t = useText();
  const [known, setKnown] = useState<SprayersAnswer | null>(null);
  const [failed, setFailed] = useState<unknown>(null);
  useEffect(() => void api.sprayers<SprayersAnswer>().then(setKnown, setFailed), [api]);
  const list = known?.document.sprayers ?? [];
  const choose = (id: string) => {
    const s = list.find((one) => one.id === id);
    onForm({ sprayer: id, method: s?.method ?? form.method, droplets: s?.droplets ?? form.droplets, height: s?.height_m === undefined ? form.height : String(Number((s.height_m / metresPer.ft).toPrecision(6))) });
  };
  return (
    <>
      <h3>{t("pass-machine")}</h3>
      {failed !== null && <ProblemNote problem={failed} />}
      {list.length > 0 && <Choice label={t("sprayer-one")} empty={t("sprayer-one-none")} value={form.sprayer} choices={list.map((s) => ({ value: s.id, label: s.name }))} onValue={choose} />}
      <MethodFields form={form} fault={fault} onForm={onForm} />
    </>
  );
}

interface FoundGroup {
  readonly number: number;
  readonly finds: readonly { readonly row: number; readonly plant: number }[];
}

/** The plants of a group of finds as the ground: from the first to the last of it on each row. */
function GroupOfFinds(props: { api: PlaceProps["api"]; map: PlaceProps["map"]; blocks: Named["blocks"]; stretches: DraftForm["stretches"]; onStretches: (stretches: DraftForm["stretches"]) => void }) {
  const t = useText();
  const [groups, setGroups] = useState<Readonly<Record<string, readonly FoundGroup[]>>>({});
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<unknown>(null);
  if (props.blocks.length === 0) return null;
  const look = async (block: string) => {
    setBusy(true);
    setProblem(null);
    try {
      const answer = await props.api.hotSpots<{ groups: readonly FoundGroup[] | null }>({ block });
      setGroups((g) => ({ ...g, [block]: answer.groups ?? [] }));
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };
  const stretchesOf = (g: FoundGroup): Stretch[] =>
    [...new Set(g.finds.map((f) => f.row))]
      .sort((a, b) => a - b)
      .map((row) => {
        const plants = g.finds.filter((f) => f.row === row).map((f) => f.plant);
        return { row, from: Math.min(...plants), to: Math.max(...plants) };
      });
  return (
    <details>
      <summary>{t("pass-group")}</summary>
      <p class="hint">{t("pass-group-hint")}</p>
      {problem !== null && <ProblemNote problem={problem} />}
      {props.blocks.map((b) => {
        const name = b.feature.properties.name;
        const found = groups[b.id];
        const chosen = props.stretches[b.id] ?? [];
        if (!found)
          return (
            <button key={b.id} type="button" disabled={busy} onClick={() => void look(b.id)}>
              {t("pass-group-load", { block: name })}
            </button>
          );
        if (found.length === 0) return <p key={b.id}>{t("pass-group-none", { block: name })}</p>;
        return (
          <fieldset key={b.id}>
            <legend>{name}</legend>
            {found.map((g) => {
              const own = stretchesOf(g);
              const plants = own.reduce((n, s) => n + s.to - s.from + 1, 0);
              return (
                <Check
                  key={g.number}
                  label={t("pass-group-one", { n: g.number, plants, rows: own.map((s) => s.row).join(", ") })}
                  checked={own.every((s) => chosen.some((c) => c.row === s.row && c.from === s.from && c.to === s.to))}
                  onChecked={(on) => {
                    const rest = chosen.filter((c) => !own.some((s) => c.row === s.row && c.from === s.from && c.to === s.to));
                    props.onStretches({ ...props.stretches, [b.id]: on ? [...rest, ...own] : rest });
                  }}
                />
              );
            })}
          </fieldset>
        );
      })}
    </details>
  );
}

/** Ground of a spot job: drawn on the map or typed, both in one field. */
function SpotGround({ map, corners, fault, onCorners }: { map: PlaceProps["map"]; corners: string; fault: string | undefined; onCorners: (corners: string) => void }) {
  const t = useText();
  const [drawing, setDrawing] = useState(false);
  const mode = useRef<OutlineMode | null>(null);
  const tell = useRef(onCorners);
  tell.current = onCorners;
  useEffect(() => {
    if (!drawing) return;
    mode.current = map.drawOutline(null, (draft) => {
      if (draft.geometry) tell.current(writeCorners(draft.geometry));
    });
    return () => mode.current?.leave();
  }, [map, drawing]);
  return (
    <>
      <p class="hint">{t("pass-spot-note")}</p>
      {drawing && (
        <MapBar>
          <button type="button" onClick={() => mode.current?.undo()}>
            {t("core-undo")}
          </button>
          <button
            type="button"
            onClick={() => {
              mode.current?.finishRing();
              setDrawing(false);
            }}
          >
            {t("pass-spot-done")}
          </button>
        </MapBar>
      )}
      <TextArea id={fieldId("area")} label={t("pass-spot-text")} hint={t("pass-spot-hint")} value={corners} fault={fault} onValue={onCorners} />
      <div class="buttons">
        {!drawing && (
          <button type="button" onClick={() => setDrawing(true)}>
            {t("pass-spot-draw")}
          </button>
        )}
        {corners && (
          <button type="button" onClick={() => onCorners("")}>
            {t("pass-spot-drop")}
          </button>
        )}
      </div>
    </>
  );
}
