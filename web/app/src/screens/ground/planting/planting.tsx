import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { type Option, Planting, type PlantingAnswer, type PlantingAsk, type Revision } from "../../../api/planting";
import { asProblem, Problem, readProblem } from "../../../api/problem";
import type { LineString, Position } from "../../../geo/position";
import { number } from "../../../i18n";
import type { Change } from "../../../api/client";
import type { FarmMap } from "../../../map/farmmap";
import type { Stored } from "../../../model/kinds";
import { mayWrite } from "../../../model/rights";
import { MainAction } from "../../../ui/action";
import { Check, TextField } from "../../../ui/form";
import { useRecords, useText, useUnits } from "../../../ui/hooks";
import { ProblemNote } from "../../../ui/notes";
import { Toggle } from "../../../ui/settings";
import { say } from "../../../ui/undo";
import { length } from "../../../units";
import type { PlaceProps } from "../../place";
import { Compare } from "./compare";
import { Details, Direction, FirstPlace, Spacings } from "./fields";
import { recall, remember } from "./remember";
import { Result, RowTable } from "./result";
import { RevisionNote } from "./revision";
import { revisedRows, rowShape } from "./rowchanges";
import "./planting.css";
import { askOf, blockAfter, cornerOf, lackOf, type PlantingForm, startOf, wayOf } from "./spec";

// A batch the server answers well within the time limit.
const batch = 100;

/** What a block holds: rows and plants on it, compared, counted, ordered, printed and stored. */
export function RowsSheet(props: PlaceProps & { block: Stored<"blocks"> }) {
  const { farm, api, map, go, block } = props;
  const t = useText();
  useUnits();
  const planting = useMemo(() => new Planting(api), [api]);
  const records = useRecords(farm, "rows");
  const onRecord = records.list.filter((r) => r.feature.properties.block === block.id);
  const outline = block.feature.geometry;
  const [form, setForm] = useState<PlantingForm>(() => startOf(block.feature.properties, recall(farm.id, block.id)));
  const [tab, setTab] = useState<"plan" | "compare">("plan");
  const [plan, setPlan] = useState<PlantingAnswer | null>(null);
  const [row, setRow] = useState<number | null>(null);
  const [revision, setRevision] = useState<Revision | null>(null);
  const [agreed, setAgreed] = useState(false);
  const [why, setWhy] = useState("");
  const [problem, setProblem] = useState<Problem | null>(null);
  const [busy, setBusy] = useState("");
  const asked = useRef(0);
  // What was asked for comes into sight once it stands there.
  const [reach, setReach] = useState<"result" | "revision" | null>(null);
  const result = useRef<HTMLParagraphElement>(null);
  const change = useRef<HTMLHeadingElement>(null);
  useEffect(() => {
    if (reach) (reach === "result" ? result : change).current?.scrollIntoView({ block: "start" });
    setReach(null);
  }, [reach]);

  usePlanOnMap(map, block.id, plan, form.skip, row, setRow);
  const ask = askOf(form, block.id, outline);
  const lack = lackOf(form);
  const set = (change: Partial<PlantingForm>) => {
    setForm((f) => ({ ...f, ...change }));
    setPlan(null);
    setRevision(null);
    setRow(null);
  };
  const work = async (what: () => Promise<void>) => {
    const mine = ++asked.current;
    setProblem(null);
    setBusy(t("core-loading"));
    try {
      await what();
    } catch (thrown) {
      if (mine === asked.current) setProblem(asProblem(thrown));
    } finally {
      if (mine === asked.current) setBusy("");
    }
  };
  const show = (of: PlantingForm, fit: boolean) => {
    const question = askOf(of, block.id, outline);
    if (!question) return;
    return work(async () => {
      const mine = asked.current;
      const got = await planting.layout(question);
      if (mine !== asked.current) return;
      setPlan(got);
      setRevision(null);
      setAgreed(false);
      remember(farm.id, block.id, of);
      if (!fit) return;
      map.fit([outline]);
      setReach("result");
    });
  };
  // What is shown stays shown while one thing of it changes.
  const changeShown = (change: Partial<PlantingForm>) => {
    const next = { ...form, ...change };
    setForm(next);
    setRevision(null);
    void show(next, false);
  };
  const skipRow = (n: number) => changeShown({ skip: form.skip.includes(n) ? form.skip.filter((x) => x !== n) : [...form.skip, n].sort((a, b) => a - b) });
  const revise = () =>
    ask &&
    work(async () => {
      setRevision(await planting.revise(ask));
      setReach("revision");
    });
  const save = () => {
    if (!plan) return;
    const reason = why.trim();
    return work(async () => {
      if (!ask) return;
      // Where no row stands there is nothing to ask about. What was sent before
      // an answer was lost is found standing, and not made twice.
      const changes = revisedRows(revision ?? (await planting.revise(ask)), reason);
      const refused = await send(api, changes, (done) => setBusy(t("ground-rows-saving", { done, all: changes.length })));
      await farm.load("rows", true);
      if (refused.length > 0) throw partly(t("ground-rows-partly", { done: changes.length - refused.length, all: changes.length }), refused);
      const newest = farm.find("blocks", block.id) ?? block;
      await farm.put("blocks", { ...newest.feature, properties: blockAfter(newest.feature.properties, form, outline, plan.bearing_deg) }, newest);
      remember(farm.id, block.id, form);
      say(t("ground-rows-saved", { n: changes.length }));
      go({ view: undefined });
    });
  };
  // Fetched rather than linked, so that it speaks the page's language.
  const print = () =>
    ask &&
    work(async () => {
      const paper = await (await api.net.ask(planting.planPath(ask), { timeoutMs: 60_000 })).blob();
      const address = URL.createObjectURL(paper);
      const link = document.createElement("a");
      link.href = address;
      link.download = `${block.feature.properties.name}.pdf`;
      link.click();
      // The browser reads it after this turn.
      setTimeout(() => URL.revokeObjectURL(address), 60_000);
    });
  const use = (o: Option) => {
    const next: PlantingForm = { ...form, row_spacing_m: o.row_spacing_m, plant_spacing_m: o.plant_spacing_m, ...(o.kind === "guide" ? {} : { way: "typed", bearing_deg: o.bearing_deg }) };
    setForm(next);
    setTab("plan");
    void show(next, false);
  };
  const showOption = (o: Option) => {
    if (!ask) return;
    const { skip: _skip, bearing_deg: _bearing, guide, ...shared } = ask;
    void work(async () => {
      const question: PlantingAsk = { ...shared, row_spacing_m: o.row_spacing_m, plant_spacing_m: o.plant_spacing_m, ...(o.kind === "guide" ? { guide } : { bearing_deg: o.bearing_deg }) };
      setPlan(await planting.layout(question));
      map.fit([outline]);
    });
  };
  const onCorner = (at: Position) => {
    const way = form.way === "guide" && form.guide ? guideBearing(form.guide) : wayOf(form, outline);
    const parts = outline.type === "Polygon" ? outline.coordinates : outline.coordinates.flat();
    if (way === undefined) return;
    const corner = cornerOf(at, parts, way);
    if (plan) changeShown(corner);
    else set(corner);
  };
  const writes = mayWrite(farm.info.role, "rows");
  const fields = { map, form, set, outline, problem };
  const conflicts = revision?.conflicts.length ?? 0;
  const changes = revision ? revision.rows.length + revision.dropped.length : 0;
  return (
    <>
      <p>
        <button type="button" class="link" onClick={() => go({ view: undefined })}>
          ← {block.feature.properties.name}
        </button>
      </p>
      <h1>{t("planting-title", { name: block.feature.properties.name })}</h1>
      <div class="planting-tabs">
      <Toggle
        label={t("planting-what")}
        value={tab}
        onValue={(to) => {
          setTab(to);
          setPlan(null);
          setRevision(null);
        }}
        choices={[
          { value: "plan", label: t("planting-plan") },
          { value: "compare", label: t("planting-compare") },
        ]}
      />
      </div>
      <ProblemNote problem={problem} map={map} fields={["row_spacing_m", "plant_spacing_m", "headland_m", "bearing_deg"]} />
      {tab === "compare" && (ask ? <Compare planting={planting} ask={ask} onShow={showOption} onUse={use} /> : <p>{t(`planting-lack-${lack ?? "spacings"}`)}</p>)}
      {tab === "plan" && plan && (
        <>
          <p role="status" class="planting-result" ref={result}>
            <strong>
              {plan.rows === 0
                ? t("ground-lay-none")
                : t("ground-lay-answer", { rows: t("ground-row-count", { n: plan.rows }), length: length(plan.row_length_m), plants: number(plan.plants) })}
            </strong>
          </p>
          {row !== null && <ChosenRow plan={plan} row={row} skip={form.skip} onSkip={skipRow} />}
          <Result answer={plan} form={form} />
          <RowTable answer={plan} skip={form.skip} chosen={row} onSkip={skipRow} onChoose={setRow} />
          {ask && (
            <div class="buttons">
              <button type="button" disabled={busy !== ""} onClick={() => void print()}>
                {t("planting-print")}
              </button>
            </div>
          )}
          {onRecord.length > 0 && (
            <section>
              <h2 ref={change}>{t("planting-revise")}</h2>
              {!revision && <p>{t("planting-revise-ask", { n: onRecord.length })}</p>}
              {revision && <RevisionNote revision={revision} farm={farm} map={map} />}
              {revision && changes === 0 && <p>{t("planting-nothing-changes")}</p>}
              {conflicts > 0 && (
                <>
                  <Check label={t("planting-conflicts-agree")} checked={agreed} onChecked={setAgreed} />
                  <TextField label={t("planting-gone-why")} hint={t("planting-gone-why-hint")} value={why} onValue={setWhy} id="planting-gone-why" />
                </>
              )}
            </section>
          )}
          <p class="soft">{t("planting-block-too")}</p>
        </>
      )}
      {tab === "plan" && (
        <>
          <Spacings {...fields} />
          <Direction {...fields} />
          <details>
            <summary>{t("planting-more")}</summary>
            <Details {...fields} />
          </details>
          <FirstPlace {...fields} onCorner={onCorner} />
          {!plan || plan.rows === 0 || !writes ? (
            <MainAction label={busy || t("ground-try")} run={() => void show(form, true)} blocked={lack ? t(`planting-lack-${lack}`) : undefined} busy={busy !== ""} />
          ) : onRecord.length > 0 && !revision ? (
            <MainAction label={busy || t("planting-revise-show")} run={() => void revise()} busy={busy !== ""} />
          ) : revision ? (
            <MainAction
              label={busy || t("planting-revise-save", { n: changes })}
              run={() => void save()}
              blocked={changes === 0 ? t("planting-nothing-changes") : conflicts > 0 && !agreed ? t("planting-conflicts-first") : conflicts > 0 && !why.trim() ? t("planting-gone-why-first") : undefined}
              busy={busy !== ""}
            />
          ) : (
            <MainAction label={busy || t("ground-save-rows", { n: plan.rows })} run={() => void save()} busy={busy !== ""} />
          )}
        </>
      )}
    </>
  );
}

function ChosenRow({ plan, row, skip, onSkip }: { plan: PlantingAnswer; row: number; skip: readonly number[]; onSkip: (row: number) => void }) {
  const t = useText();
  const found = plan.each.find((r) => r.number === row);
  if (!found) return null;
  const left = skip.includes(row);
  return (
    <div class="buttons" role="status">
      <span>
        {left
          ? t("planting-row-chosen-skipped", { row: String(row) })
          : t("planting-row-chosen", { row: String(row), length: length(found.length_m), plants: number(found.plants) })}
      </span>
      <button type="button" onClick={() => onSkip(row)}>
        {t(left ? "planting-take-back" : "planting-skip", { row: String(row) })}
      </button>
    </div>
  );
}

function guideBearing(guide: LineString): number | undefined {
  return wayOf({ way: "line", line: guide } as PlantingForm, { type: "Polygon", coordinates: [] });
}

/** The rows on the map with their numbers where plant 1 stands; a tap chooses a row. */
function usePlanOnMap(map: FarmMap, block: string, plan: PlantingAnswer | null, skip: readonly number[], row: number | null, onRow: (row: number | null) => void): void {
  useEffect(() => {
    if (!plan) return;
    const left = new Set(skip);
    map.hideRows(block);
    const drawn = plan.each.filter((r) => r.parts.length > 0);
    const shape = (r: (typeof drawn)[number]) => ({ id: String(r.number), geometry: rowShape(r.parts) });
    map.setOverlay("plan", drawn.filter((r) => !left.has(r.number)).map(shape), "planned");
    map.setOverlay("plan-left", drawn.filter((r) => left.has(r.number)).map(shape), "left-out");
    map.setOverlay(
      "plan-numbers",
      drawn.map((r) => ({ id: String(r.number), geometry: { type: "Point", coordinates: r.parts[0]![0]! }, label: String(r.number) })),
      "words",
    );
    return () => {
      map.hideRows(null);
      for (const name of ["plan", "plan-left", "plan-numbers"]) map.setOverlay(name, null);
    };
  }, [map, block, plan, skip]);
  useEffect(() => {
    map.choose(row === null ? null : { layer: { overlay: skip.includes(row) ? "plan-left" : "plan" }, id: String(row) });
    return () => map.choose(null);
  }, [map, row, plan, skip]);
  useEffect(
    () =>
      map.onPick((pick) => {
        if (pick && typeof pick.layer === "object" && pick.layer.overlay.startsWith("plan")) onRow(Number(pick.id));
      }),
    [map],
  );
}

async function send(api: PlaceProps["api"], changes: readonly Change[], told: (done: number) => void): Promise<Problem[]> {
  const refused: Problem[] = [];
  for (let from = 0; from < changes.length; from += batch) {
    told(from);
    const { outcomes } = await api.sendChanges(changes.slice(from, from + batch));
    for (const o of outcomes) if (o.status >= 400) refused.push(readProblem(o.problem, o.status) ?? new Problem({ status: o.status, title: `HTTP ${o.status}` }));
  }
  return refused;
}

function partly(title: string, refused: readonly Problem[]): Problem {
  return new Problem({ status: 422, title, errors: refused.flatMap((p) => (p.errors.length > 0 ? p.errors : [{ detail: p.detail || p.title }])) });
}
