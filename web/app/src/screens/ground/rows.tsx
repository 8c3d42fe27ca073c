import { useEffect, useState } from "preact/hooks";
import type { LayoutAnswer } from "../../api/client";
import { asProblem, Problem, readProblem } from "../../api/problem";
import { number } from "../../i18n";
import type { Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { uuid7 } from "../../model/uuid7";
import { MainAction } from "../../ui/action";
import { Check } from "../../ui/form";
import { useRecords, useText, useUnits } from "../../ui/hooks";
import { LengthField } from "../../ui/length";
import { Caution, faultOf, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { length } from "../../units";
import type { PlaceProps } from "../place";
import { BearingField, FirstFields } from "./blockform";
import { type BlockForm, formOf, propertiesOf } from "./draft";
import { rowChanges, rowShape } from "./rowplan";

// A batch the server answers well within the time limit.
const batch = 100;

/** Fits rows and plants into a block, shows them, and stores them as rows. */
export function RowsSheet({ farm, api, map, go, block }: PlaceProps & { block: Stored<"blocks"> }) {
  const t = useText();
  useUnits();
  const records = useRecords(farm, "rows");
  const onRecord = records.list.filter((r) => r.feature.properties.block === block.id);
  const [form, setForm] = useState<BlockForm>(() => formOf(block.feature.properties));
  const [headland, setHeadland] = useState<number | undefined>(undefined);
  const [plan, setPlan] = useState<LayoutAnswer | null>(null);
  const [agreed, setAgreed] = useState(false);
  const [problem, setProblem] = useState<Problem | null>(null);
  const [busy, setBusy] = useState("");
  const set = (change: Partial<BlockForm>) => {
    setForm((f) => ({ ...f, ...change }));
    setPlan(null);
  };
  useEffect(() => {
    map.setOverlay("plan", plan ? plan.each.map((r) => ({ id: String(r.number), geometry: rowShape(r.parts) })) : null, "preview");
    return () => map.setOverlay("plan", null);
  }, [map, plan]);

  const { row_spacing_m, plant_spacing_m, row_bearing_deg } = form;
  const bad = [row_spacing_m, plant_spacing_m, row_bearing_deg, headland].some((v) => Number.isNaN(v));
  const ready = row_spacing_m !== undefined && plant_spacing_m !== undefined && !bad;
  const show = async () => {
    if (row_spacing_m === undefined || plant_spacing_m === undefined) return;
    setProblem(null);
    setBusy(t("core-loading"));
    try {
      const got = await api.layout({
        block: block.id,
        row_spacing_m,
        plant_spacing_m,
        bearing_deg: row_bearing_deg,
        headland_m: headland,
        first_row_side: form.first_row_side || undefined,
        first_plant_end: form.first_plant_end || undefined,
      });
      setPlan(got);
      setAgreed(false);
      map.fit([block.feature.geometry]);
    } catch (thrown) {
      setProblem(asProblem(thrown));
    } finally {
      setBusy("");
    }
  };
  const save = async () => {
    if (!plan) return;
    setProblem(null);
    const changes = rowChanges(plan, block.id, onRecord, uuid7);
    const refused: Problem[] = [];
    try {
      for (let from = 0; from < changes.length; from += batch) {
        setBusy(t("ground-rows-saving", { done: from, all: changes.length }));
        const { outcomes } = await api.sendChanges(changes.slice(from, from + batch));
        for (const o of outcomes) if (o.status >= 400) refused.push(readProblem(o.problem, o.status) ?? new Problem({ status: o.status, title: t("core-problem-garbled") }));
      }
      await farm.put("blocks", { ...block.feature, properties: propertiesOf(form, block.feature.properties) }, farm.find("blocks", block.id) ?? block);
      if (refused.length === 0) {
        say(t("ground-rows-saved", { n: plan.rows }));
        go({ view: undefined });
      } else {
        setProblem(
          new Problem({
            status: 422,
            title: t("ground-rows-partly", { done: changes.length - refused.length, all: changes.length }),
            errors: refused.flatMap((p) => (p.errors.length > 0 ? p.errors : [{ detail: p.detail || p.title }])),
          }),
        );
      }
    } catch (thrown) {
      setProblem(asProblem(thrown));
    } finally {
      setBusy("");
      await farm.load("rows", true);
    }
  };
  const writes = mayWrite(farm.info.role, "rows");
  const figureFault = (v: number | undefined, field: string) => (Number.isNaN(v) ? t("ground-not-number") : faultOf(problem, field));
  return (
    <>
      <p>
        <button type="button" class="link" onClick={() => go({ view: undefined })}>
          ← {block.feature.properties.name}
        </button>
      </p>
      <h1>{t("ground-rows-title", { name: block.feature.properties.name })}</h1>
      <ProblemNote problem={problem} map={map} fields={["row_spacing_m", "plant_spacing_m", "headland_m", "bearing_deg"]} />
      {plan && (
        <>
          <p role="status">
            <strong>
              {plan.rows === 0
                ? t("ground-lay-none")
                : t("ground-lay-answer", { rows: t("ground-row-count", { n: plan.rows }), length: length(plan.row_length_m), plants: number(plan.plants) })}
            </strong>
          </p>
          {onRecord.length > 0 && (
            <>
              <Caution>{t("ground-rows-replace", { n: onRecord.length })}</Caution>
              <Check label={t("ground-rows-agree")} checked={agreed} onChecked={setAgreed} />
            </>
          )}
          <p class="soft">{t("ground-rows-block-too")}</p>
          <details>
            <summary>{t("ground-row-table")}</summary>
            <table>
              <thead>
                <tr>
                  <th class="num">{t("ground-col-number")}</th>
                  <th class="num">{t("ground-col-length")}</th>
                  <th class="num">{t("ground-col-plants")}</th>
                </tr>
              </thead>
              <tbody>
                {plan.each.map((r) => (
                  <tr key={r.number}>
                    <td class="num">{r.number}</td>
                    <td class="num">{length(r.length_m)}</td>
                    <td class="num">{r.plants}</td>
                  </tr>
                ))}
              </tbody>
            </table>
          </details>
          <div class="buttons">
            <button type="button" onClick={() => setPlan(null)}>
              {t("core-cancel")}
            </button>
          </div>
        </>
      )}
      <div class="pair">
        <LengthField label={t("ground-row-spacing")} metres={row_spacing_m} onMetres={(v) => set({ row_spacing_m: v })} fault={figureFault(row_spacing_m, "row_spacing_m")} id="ground-row-spacing" />
        <LengthField label={t("ground-plant-spacing")} metres={plant_spacing_m} onMetres={(v) => set({ plant_spacing_m: v })} fault={figureFault(plant_spacing_m, "plant_spacing_m")} id="ground-plant-spacing" />
      </div>
      <BearingField map={map} value={row_bearing_deg} onValue={(v) => set({ row_bearing_deg: v })} fault={figureFault(row_bearing_deg, "bearing_deg")} />
      <LengthField
        label={t("ground-headland")}
        hint={t("ground-headland-hint")}
        optional
        metres={headland}
        onMetres={(v) => {
          setHeadland(v);
          setPlan(null);
        }}
        fault={figureFault(headland, "headland_m")}
        id="ground-headland"
      />
      <FirstFields form={form} set={set} />
      {plan && plan.rows > 0 && writes ? (
        <MainAction
          label={busy || t("ground-save-rows", { n: plan.rows })}
          run={() => void save()}
          blocked={onRecord.length > 0 && !agreed ? t("ground-rows-agree-first") : undefined}
          busy={busy !== ""}
        />
      ) : (
        <MainAction label={t("ground-try")} run={() => void show()} blocked={ready ? undefined : bad ? t("ground-need-numbers") : t("ground-need-spacings")} busy={busy !== ""} />
      )}
    </>
  );
}
