import { useEffect, useState } from "preact/hooks";
import type { NewPhoto } from "../../model/farm";
import { causes, type Stored } from "../../model/kinds";
import { uuid7 } from "../../model/uuid7";
import { lastPlant, type DrawnRow, type LonLat, plantPlace } from "../../rowmap/rowplace";
import { MainAction } from "../../ui/action";
import { Check, TextField } from "../../ui/form";
import { useRecords, useText } from "../../ui/hooks";
import { MapBar } from "../../ui/mapbar";
import { ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { named } from "../../i18n";
import { length } from "../../units";
import type { PlaceProps } from "../place";
import { PlannedStops } from "../scoutplan/plannedstops";
import { Choices } from "./choices";
import { afterSave, type Fix, type FindForm, findFeature, fixAgeS, placeOf, recall, remember, severities, staleFixS } from "./find";
import { type RunningFix, useNow } from "./fix";
import { NearRows } from "./near";
import { Photos } from "./photos";
import { PickPlant } from "./pickplant";
import { Stepper } from "./stepper";

/** One find after another: what the last one was stands there already, one tap keeps the next. */
export function FindEntry(
  props: PlaceProps & {
    readonly block: Stored<"blocks">;
    readonly rows: readonly DrawnRow[];
    readonly position: RunningFix;
    readonly gps: boolean;
    readonly onGps: (on: boolean) => void;
    /** The visit under way. */
    readonly visit: Stored<"visits"> | undefined;
  },
) {
  const t = useText();
  const { farm, api, map, block, rows, gps } = props;
  const { state: fixState, fix } = props.position;
  const finds = useRecords(farm, "finds").list;
  const spacing = block.feature.properties.plant_spacing_m ?? null;
  const [form, setForm] = useState<FindForm>(() => recall(localStorage, farm.id, block.id));
  const [photos, setPhotos] = useState<readonly NewPhoto[]>([]);
  const [tap, setTap] = useState<LonLat | null>(null);
  const [tapping, setTapping] = useState(false);
  const [picking, setPicking] = useState(false);
  const [unsure, setUnsure] = useState(false);
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<unknown>(null);

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

  const same = finds.find(({ feature: { properties: p } }) => p.block === block.id && p.row === form.row && p.plant === form.plant);

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
    const ids = photos.map((p) => p.id);
    const made = findFeature({ id: uuid7(), block: block.id, form, cause: form.cause, place, fix, now: Date.now(), visit: props.visit?.id ?? null, unplaced, photos: ids });
    try {
      const { record, left } = await farm.keep("finds", made, null, { photos });
      remember(localStorage, farm.id, block.id, form);
      setForm(afterSave);
      setPhotos([]);
      setTap(null);
      setTapping(false);
      const kept = t(unplaced ? "walk-saved-near" : "walk-saved", nameOf(record));
      say(left.length > 0 ? `${kept} ${t("offline-photo-left", { n: left.length })}` : kept, () => void undo(record));
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
  const next = last > 0 && (form.plant === last || form.plant === 1) ? form.row + 1 : 0;
  const nextLast = next ? lastPlant(rows, next) : 0;
  const nextPlant = form.plant === 1 ? 1 : nextLast;
  const stops = props.visit?.feature.properties.planned_stops;
  return (
    <>
      {stops && <PlannedStops map={map} stops={stops} at={form} onAt={change} />}
      <Stepper label={t("walk-row")} value={form.row} last={Math.max(0, ...rows.map((r) => r.number))} onValue={(row) => change({ row })} />
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
          {nextLast > 0 && (
            <button type="button" class="big" onClick={() => change({ row: next, plant: nextPlant })}>
              {t("walk-next-row", { row: String(next), plant: String(nextPlant) })}
            </button>
          )}
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
      <Photos photos={photos} onPhotos={setPhotos} onProblem={setProblem} />
      <TextField label={t("walk-words")} optional value={form.words} onValue={(words) => change({ words })} />
      <p class="hint">{t("walk-suspected-note")}</p>
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
        <button type="button" class="big" onClick={() => props.onGps(!gps)}>
          {t(gps ? "walk-gps-off" : "walk-gps-on")}
        </button>
      </div>
      {tapping && (
        <MapBar>
          <span role="status">{t("walk-tap-now")}</span>
          <button type="button" class="big" onClick={() => setTapping(false)}>
            {t("walk-done-tapping")}
          </button>
        </MapBar>
      )}
      {gps && (
        <p>
          <b>{t("walk-gps")}:</b> {fixState === "waiting" && t("walk-gps-waiting")}
          {fixState === "denied" && t("walk-gps-denied")}
          {fix && <FixLine fix={fix} />}
        </p>
      )}
      {fix && (
        <>
          <NearRows api={api} block={block.id} fix={fix} />
          <Check label={t("walk-unsure")} hint={t("walk-unsure-hint")} checked={unsure} onChecked={setUnsure} />
        </>
      )}
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
  );
}

/** How good the running position is and how old; its age goes on by itself. */
function FixLine({ fix }: { fix: Fix }) {
  const t = useText();
  const age = fixAgeS(fix, useNow(1000));
  return <>{t(age > staleFixS ? "walk-gps-old" : "walk-gps-fix", { accuracy: length(fix.accuracyM), age: String(Math.round(age)) })}</>;
}

function nameOf(f: Stored<"finds">) {
  const p = f.feature.properties;
  return { cause: named("walk-cause-", p.cause), row: String(p.row ?? ""), plant: String(p.plant ?? "") };
}
