import { useEffect, useState } from "preact/hooks";
import { named } from "../../i18n";
import { causes, type Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { uuid7 } from "../../model/uuid7";
import { MainAction } from "../../ui/action";
import { Check, Choice, TextField } from "../../ui/form";
import { useRecords, useText, useUnits } from "../../ui/hooks";
import { later } from "../../ui/later";
import { ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { length } from "../../units";
import { wallTime } from "../pass/zoned";
import type { Place, PlaceProps } from "../place";
import { Choices } from "./choices";
import { afterSave, type FindForm, findFeature, fixAgeS, placeOf, recall, remember, severities, staleFixS } from "./find";
import { useFix, useNow } from "./fix";
import { drawnRows } from "../../rowmap/rows";
import { lastPlant, type LonLat, plantPlace } from "../../rowmap/rowplace";
import { PlannedStops } from "../scoutplan/plannedstops";
import { NearRows } from "./near";
import { PickPlant } from "./pickplant";
import { Stepper } from "./stepper";
import { clock, VisitPanel } from "./visitpanel";
import "./walk.css";

const WalkPlan = later(async () => (await import("../scoutplan/walkplan")).WalkPlan);

function Sheet(props: PlaceProps) {
  const t = useText();
  const { farm, map, address, go } = props;
  const blocks = useRecords(farm, "blocks");
  useEffect(() => {
    map.setLargeMarks(true);
    return () => map.setLargeMarks(false);
  }, [map]);
  useEffect(
    () =>
      map.onPick((pick) => {
        if (pick?.layer === "blocks") go({ block: pick.id });
      }),
    [map, go],
  );
  const block = farm.find("blocks", address.block);
  const may = mayWrite(farm.info.role, "finds");
  if (address.view?.startsWith("plan")) return <WalkPlan {...props} />;
  return (
    <div class="walk">
      <h1>{t("walk-title")}</h1>
      {blocks.state === "failed" && <ProblemNote problem={blocks.failure} onRetry={() => void farm.load("blocks", true)} />}
      {blocks.state === "ready" && blocks.list.length === 0 && <p>{t("walk-no-blocks")}</p>}
      {blocks.list.length > 0 && (
        <Choice
          label={t("walk-block")}
          value={block?.id ?? ""}
          choices={blocks.list.map((b) => ({ value: b.id, label: b.feature.properties.name }))}
          onValue={(id) => go({ block: id })}
        />
      )}
      {blocks.list.length > 0 && !block && <p>{t("walk-choose-block")}</p>}
      <button type="button" class="big" onClick={() => go({ view: "plan" })}>
        {t("scoutplan-plan")}
      </button>
      {!may && <p>{t("walk-read-only")}</p>}
      {block && <InBlock key={block.id} {...props} block={block} may={may} />}
    </div>
  );
}

function InBlock({ farm, api, map, block, may }: PlaceProps & { block: Stored<"blocks">; may: boolean }) {
  const t = useText();
  useUnits();
  const finds = useRecords(farm, "finds");
  const visits = useRecords(farm, "visits");
  const rowRecords = useRecords(farm, "rows");
  const now = useNow(1000);
  const zone = farm.info.zone;
  const spacing = block.feature.properties.plant_spacing_m ?? null;
  const rows = drawnRows(rowRecords.list, block.id, spacing);

  useEffect(() => map.fit([block.feature.geometry]), [map, block.id]);

  const [form, setForm] = useState<FindForm>(() => recall(localStorage, farm.id, block.id));
  const [tap, setTap] = useState<LonLat | null>(null);
  const [tapping, setTapping] = useState(false);
  const [gps, setGps] = useState(false);
  const [picking, setPicking] = useState(false);
  const [unsure, setUnsure] = useState(false);
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<unknown>(null);
  const { state: fixState, fix } = useFix(gps);
  useEffect(() => {
    map.setHere(fix ? { at: fix.at, accuracyM: fix.accuracyM } : null);
    return () => map.setHere(null);
  }, [map, fix]);

  useEffect(() => {
    if (!tapping) return;
    const mode = map.drawPoint(null, (point) => {
      if (!point) return;
      setTap([point.coordinates[0] ?? 0, point.coordinates[1] ?? 0]);
    });
    return () => mode.leave();
  }, [map, tapping]);

  const last = lastPlant(rows, form.row);
  const plant = plantPlace(rows, form.row, form.plant, spacing);
  // Which row is somebody's word, never the fix's.
  const unplaced = unsure && fix !== null;
  const place = placeOf(tap, unplaced ? null : plant, fix);
  useEffect(() => {
    if (tapping || !place) return;
    map.setOverlay("walk-plant", [{ geometry: { type: "Point", coordinates: place.at } }], "marked");
    return () => map.setOverlay("walk-plant", null);
  }, [map, tapping, place?.at[0], place?.at[1]]);

  const open = visits.list
    .filter((v) => v.feature.properties.block === block.id && !v.feature.properties.ended_at)
    .sort((a, b) => a.feature.properties.started_at.localeCompare(b.feature.properties.started_at))
    .pop();
  const today = wallTime(now, zone).slice(0, 10);
  const inBlock = finds.list.filter((f) => f.feature.properties.block === block.id);
  const ofToday = inBlock
    .filter((f) => wallTime(f.feature.properties.found_at, zone).startsWith(today))
    .sort((a, b) => b.feature.properties.found_at.localeCompare(a.feature.properties.found_at));
  const onVisit = open ? inBlock.filter((f) => f.feature.properties.visit === open.id).length : 0;
  const same = inBlock.find((f) => f.feature.properties.row === form.row && f.feature.properties.plant === form.plant);

  const change = (part: Partial<FindForm>) => {
    setForm((f) => ({ ...f, ...part }));
    if (part.row !== undefined || part.plant !== undefined) {
      setTap(null);
      setUnsure(false);
    }
  };

  const save = async () => {
    if (!place || !form.cause || busy) return;
    setBusy(true);
    setProblem(null);
    const made = findFeature({
      id: uuid7(),
      block: block.id,
      form,
      cause: form.cause,
      place,
      fix,
      now: Date.now(),
      visit: open?.id ?? null,
      unplaced,
    });
    try {
      const { record } = await farm.keep("finds", made);
      remember(localStorage, farm.id, block.id, form);
      setForm(afterSave);
      setTap(null);
      setTapping(false);
      say(t(unplaced ? "walk-saved-near" : "walk-saved", nameOf(record)), () => void undo(record));
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };

  const undo = async (record: Stored<"finds">) => {
    try {
      await farm.takeBack(record);
      say(t("walk-undone"));
    } catch (thrown) {
      setProblem(thrown);
    }
  };

  const name = { cause: form.cause ? t(`walk-cause-${form.cause}`) : "", row: String(form.row), plant: String(form.plant) };
  // A visit is started before the first find and closed after the last.
  const visit = <VisitPanel farm={farm} block={block.id} rows={rows} open={open} finds={onVisit} />;
  return (
    <>
      {may && (
        <>
          {!open && visit}
          {open?.feature.properties.planned_stops && <PlannedStops map={map} stops={open.feature.properties.planned_stops} at={form} onAt={change} />}
          <Stepper
            label={t("walk-row")}
            value={form.row}
            last={Math.max(0, ...rows.map((r) => r.number))}
            onValue={(row) => change({ row })}
          />
          <Stepper
            label={t("walk-plant")}
            value={form.plant}
            last={last}
            leap={10}
            hint={last > 0 ? t("walk-last-plant", { row: String(form.row), last: String(last) }) : t("walk-row-not-drawn", { row: String(form.row) })}
            onValue={(n) => change({ plant: n })}
          />
          {last > 0 && (
            <div class="buttons">
              <button type="button" class="big" aria-pressed={picking} onClick={() => setPicking(!picking)}>
                {t("walk-row-map")}
              </button>
            </div>
          )}
          {picking && <PickPlant farm={farm} block={block} at={form} onAt={(at) => change({ row: at.row, plant: at.plant })} />}
          {same && !unplaced && <p class="hint">{t("walk-repeat", { state: t(`walk-state-${same.feature.properties.state}`) })}</p>}
          <Choices
            legend={t("walk-cause")}
            value={form.cause}
            choices={causes.map((c) => ({ value: c, label: t(`walk-cause-${c}`) }))}
            onValue={(c) => change({ cause: c })}
          />
          <Choices
            legend={t("walk-severity")}
            value={form.severity}
            choices={severities.map((s) => ({ value: s, label: t(`walk-severity-${s}`) }))}
            onValue={(s) => change({ severity: s })}
          />
          <p>
            <b>{t("walk-place")}:</b> {place ? t(`walk-place-${place.by}`) : t("walk-place-none")}
          </p>
          <div class="buttons">
            <button type="button" class="big" aria-pressed={tapping} onClick={() => setTapping(!tapping)}>
              {t("walk-tap")}
            </button>
            {tap && (
              <button type="button" class="big" onClick={() => setTap(null)}>
                {t("walk-tap-drop")}
              </button>
            )}
            {!gps && (
              <button type="button" class="big" onClick={() => setGps(true)}>
                {t("walk-gps-on")}
              </button>
            )}
          </div>
          {tapping && <p role="status">{t("walk-tap-now")}</p>}
          {gps && (
            <p>
              <b>{t("walk-gps")}:</b>{" "}
              {fixState === "waiting" && t("walk-gps-waiting")}
              {fixState === "denied" && t("walk-gps-denied")}
              {fix &&
                t(fixAgeS(fix, now) > staleFixS ? "walk-gps-old" : "walk-gps-fix", {
                  accuracy: length(fix.accuracyM),
                  age: String(Math.round(fixAgeS(fix, now))),
                })}
            </p>
          )}
          {fix && (
            <>
              <NearRows api={api} block={block.id} fix={fix} />
              <Check label={t("walk-unsure")} hint={t("walk-unsure-hint")} checked={unsure} onChecked={setUnsure} />
            </>
          )}
          <TextField label={t("walk-words")} optional value={form.words} onValue={(words) => change({ words })} />
          <p class="hint">{t("walk-suspected-note")}</p>
          {problem !== null && (
            <>
              <p class="not-saved">{t("walk-not-saved")}</p>
              <ProblemNote problem={problem} map={map} />
            </>
          )}
          <MainAction
            label={busy ? t("walk-saving") : form.cause ? t(unplaced ? "walk-save-near" : "walk-save", name) : t("walk-save-no-cause", name)}
            run={() => void save()}
            blocked={!form.cause ? t("walk-choose-cause") : place ? undefined : t("walk-place-none")}
            busy={busy}
          />
        </>
      )}
      <section>
        <h2>{t("walk-today")}</h2>
        {finds.state === "failed" && <ProblemNote problem={finds.failure} onRetry={() => void farm.load("finds", true)} />}
        {finds.state === "loading" && <p>{t("core-loading")}</p>}
        {finds.state === "ready" && ofToday.length === 0 && <p>{t("walk-today-none")}</p>}
        <ul class="today">
          {ofToday.map((f) => (
            <li key={f.id}>
              <button
                type="button"
                class="link big"
                onClick={() => {
                  map.choose({ layer: "finds", id: f.id });
                  map.goTo(f.feature.geometry.coordinates);
                }}
              >
                <FindLine find={f} zone={zone} />
              </button>
            </li>
          ))}
        </ul>
      </section>
      {may && open && visit}
    </>
  );
}

function nameOf(f: Stored<"finds">) {
  const p = f.feature.properties;
  return { cause: named("walk-cause-", p.cause), row: String(p.row ?? ""), plant: String(p.plant ?? "") };
}

function FindLine({ find, zone }: { find: Stored<"finds">; zone: string }) {
  const t = useText();
  const p = find.feature.properties;
  const said = {
    ...nameOf(find),
    time: clock(p.found_at, zone),
    severity: p.severity === undefined ? t("core-not-said") : t(`walk-severity-${p.severity}`),
    state: named("walk-state-", p.state),
  };
  return <>{p.row !== undefined && p.plant !== undefined ? t("walk-find-line", said) : t("walk-find-line-bare", said)}</>;
}

export const walk: Place = { name: "walk", Sheet };
