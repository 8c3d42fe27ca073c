import type { ComponentChildren } from "preact";
import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { boxOf } from "../../geo/box";
import type { Box, Geometry } from "../../geo/position";
import type { FarmMap, Shape } from "../../map/farmmap";
import { MainAction } from "../../ui/action";
import { useSignal, useText, useUnits } from "../../ui/hooks";
import { Caution, Mark } from "../../ui/notes";
import { say } from "../../ui/undo";
import { length } from "../../units";
import { wallTime } from "../pass/zoned";
import type { PlaceProps } from "../place";
import { useNow } from "../walk/fix";
import { workOf } from "./import/work";
import { lacking, type Trouble, useAwake, useFixes } from "./round/device";
import { walkedOn } from "./round/entry";
import { Keep } from "./round/keep";
import { begin, clock, featureOf, fewestFixes, type Figures, figures, fixCount, isFull, lastFix, type Recording, timeS, withFix, withoutLast, withPause } from "./round/recording";
import "./walkround.css";

// Receivers tell a position each second; after so many without one she should know.
const silentS = 15;
// Worse than this an outline is no use: a side of a small block may lie outside it.
const poorM = 15;

/** Records a walk round a block and hands it on as a file: the proposal says what ground it goes round. */
export function WalkRound({ farm, api, map, go }: PlaceProps) {
  const t = useText();
  const keep = useMemo(() => new Keep(farm.id), [farm]);
  const [walk, setWalk] = useState<Recording | null>(() => keep.load());
  const [stored, setStored] = useState(() => keep.head()?.stored ?? false);
  // Found on the device, not recorded since this screen was opened.
  const [found, setFound] = useState(walk !== null);
  const [going, setGoing] = useState(false);
  const [unkept, setUnkept] = useState(false);
  const work = workOf(api.imports);
  const phase = useSignal(work.phase);

  const newest = useRef(walk);
  const change = (next: Recording) => {
    if (next === newest.current) return;
    newest.current = next;
    setWalk(next);
    setUnkept(!keep.save(next));
    setStored(false);
    setFound(false);
  };
  const trouble = useFixes(going, (fix) => {
    if (newest.current) change(withFix(newest.current, fix));
  });
  const awake = useAwake(going);
  const now = useNow(1000) / 1000;
  const shown = useMemo(() => walk && figures(walk), [walk]);
  useWalkOnMap(map, shown, going);

  // Another screen ends the recording: that is said there.
  const leaving = useRef(going);
  leaving.current = going;
  useEffect(
    () => () => {
      if (leaving.current) say(t("imports-round-left"));
    },
    [t],
  );

  const full = walk !== null && isFull(walk);
  const count = walk ? fixCount(walk) : 0;
  const halted = going && (full || trouble === "denied" || trouble === "insecure" || trouble === "missing");
  useEffect(() => {
    if (!halted) return;
    setGoing(false);
    if (count === 0) forget();
  }, [halted]);

  const forget = () => {
    newest.current = null;
    setWalk(null);
    keep.drop();
  };
  const start = () => {
    change(begin(Date.now() / 1000));
    setGoing(true);
  };
  const goOn = () => {
    if (walk) change(withPause(walk));
    setGoing(true);
  };
  const throwAway = () => {
    const was = walk;
    setGoing(false);
    forget();
    say(t("imports-round-gone"), () => {
      if (!was || newest.current) return;
      change(was);
      setFound(true);
    });
  };
  const see = () => {
    const feature = walk && featureOf(walk);
    if (!walk || !feature) return;
    setGoing(false);
    leaving.current = false;
    const when = wallTime(walk.startedAtS * 1000, farm.info.zone).replace(":", "");
    const file = new File([JSON.stringify(feature)], `${t("imports-round-file", { when })}.geojson`, { type: "application/geo+json" });
    work.forget();
    void work.read(file, { kind: "blocks", zone: farm.info.zone }, { view: "round", stored: () => keep.save(walk, true) });
    go({ view: "import" });
  };
  const lack = lacking();
  const open = walk !== null && !stored;
  const back = (
    <p>
      <button type="button" class="link" onClick={() => go({ view: undefined })}>
        ← {t("ground-blocks")}
      </button>
    </p>
  );
  return (
    <div class="round">
      {!open && back}
      <h1 class={open ? "hidden" : undefined}>{t("imports-round-title")}</h1>
      <Saying trouble={trouble ?? lack} silentForS={going && walk ? now - (lastFix(walk)?.takenAtS ?? walk.startedAtS) : 0} waiting={going && count === 0} />
      {full && <p>{t("imports-round-full")}</p>}
      {unkept && <Caution>{t("imports-round-unkept")}</Caution>}
      {walk && (found || stored) && <p>{t(stored ? "imports-round-kept-stored" : "imports-round-kept", { when: walkedOn(walk.startedAtS, farm) })}</p>}
      {open && (going || count > 0) && (
        <p class="round-state" role="status">
          <strong>{t(going ? "imports-round-going" : "imports-round-paused")}</strong>
        </p>
      )}
      {walk && shown && (going || count > 0) && <WalkFigures walk={walk} shown={shown} now={going ? now : null} />}
      {open && (
        <div class="buttons">
          {going ? (
            <button type="button" onClick={() => setGoing(false)}>
              {t("imports-round-pause")}
            </button>
          ) : (
            <button type="button" onClick={goOn} disabled={full || lack !== null}>
              {t("imports-round-on")}
            </button>
          )}
          <button type="button" onClick={() => walk && change(withoutLast(walk))} disabled={count === 0}>
            {t("imports-round-last")}
          </button>
        </div>
      )}
      {going && awake !== "off" && <p class="soft">{t(`imports-round-awake-${awake}`)}</p>}
      {!open && <p>{t("imports-round-how")}</p>}
      {open && phase.step !== "file" && <p class="soft">{t("imports-round-aside", { file: phase.file })}</p>}
      <Caution>{t("imports-round-caution")}</Caution>
      <div class="buttons">
        {walk && stored && (
          <button type="button" onClick={see}>
            {t("imports-round-see")}
          </button>
        )}
        {walk && !going && (
          <button type="button" onClick={throwAway}>
            {t("imports-round-away")}
          </button>
        )}
        {!going && (
          <button type="button" onClick={() => go({ view: "new" })}>
            {t("imports-round-draw")}
          </button>
        )}
      </div>
      {open && !going && back}
      {open ? (
        <MainAction label={t(going ? "imports-round-stop" : "imports-round-see")} run={see} blocked={count < fewestFixes || !featureOf(walk) ? t("imports-round-few", { n: fewestFixes }) : undefined} />
      ) : (
        <MainAction label={t(walk ? "imports-round-start-new" : "imports-round-start")} run={start} blocked={lack ? t(`imports-round-${lack}`) : undefined} />
      )}
    </div>
  );
}

/** What keeps positions from coming. */
function Saying({ trouble, silentForS, waiting }: { trouble: Trouble | null; silentForS: number; waiting: boolean }) {
  const t = useText();
  if (trouble) {
    return (
      <p class="problem" role="alert">
        <Mark answer="stop" /> {t(`imports-round-${trouble}`)}
      </p>
    );
  }
  if (silentForS >= silentS) return <Caution>{t("imports-round-silent", { n: Math.floor(silentForS) })}</Caution>;
  return waiting ? <p>{t("imports-round-waiting")}</p> : null;
}

function WalkFigures({ walk, shown, now }: { walk: Recording; shown: Figures; now: number | null }) {
  const t = useText();
  const system = useUnits();
  const row = (key: "back" | "way" | "time" | "fixes", value: ComponentChildren) => (
    <div>
      <dt>{t(`imports-round-${key}`)}</dt>
      <dd>{value}</dd>
    </div>
  );
  return (
    <dl class="round-figures">
      <div class="round-accuracy">
        <dt class="hidden">{t("imports-round-accuracy")}</dt>
        <dd>{shown.here && <Accuracy metres={shown.here.accuracyM} />}</dd>
      </div>
      {row("back", shown.backM === null ? "–" : length(shown.backM, system))}
      {row("way", length(shown.wayM, system))}
      {row("time", clock(timeS(walk, now)))}
      {row(
        "fixes",
        <>
          {shown.fixes}
          {shown.astray > 0 && <span class="soft"> ({t("imports-round-astray", { n: shown.astray })})</span>}
        </>,
      )}
    </dl>
  );
}

function Accuracy({ metres }: { metres: number | null }) {
  const t = useText();
  const system = useUnits();
  if (metres === null) return <>{t("imports-round-unsaid")}</>;
  const accuracy = length(metres, system);
  return metres > poorM ? <Mark answer="caution">{t("imports-round-poor", { accuracy })}</Mark> : <>{t("imports-round-good", { accuracy })}</>;
}

// A walk is followed in steps: the map moves when she leaves what it shows.
const marginDeg = 0.0004; // some 40 m

function around(shape: Geometry): Box | null {
  const box = boxOf([shape]);
  return box && [box[0] - marginDeg, box[1] - marginDeg, box[2] + marginDeg, box[3] + marginDeg];
}

/** The line walked, its start, and where she is, with the straight way back. */
function useWalkOnMap(map: FarmMap, shown: Figures | null, going: boolean): void {
  const t = useText();
  const mark = t("imports-round-start-mark");
  const fitted = useRef<Box | null>(null);
  useEffect(() => {
    const lines = (shown?.lines ?? []).filter((l) => l.length > 1).map((l) => l.map((f) => f.at));
    const shapes: Shape[] = lines.map((coordinates) => ({ geometry: { type: "LineString", coordinates } }));
    const { start, here } = shown ?? {};
    map.setOverlay("round", shapes, "chosen");
    map.setOverlay("round-start", start ? [{ geometry: { type: "Point", coordinates: start.at } }] : null, "proposed");
    map.setOverlay("round-word", start ? [{ geometry: { type: "Point", coordinates: start.at }, label: mark }] : null, "chosen");
    map.setOverlay("round-back", start && here && here !== start ? [{ geometry: { type: "LineString", coordinates: [here.at, start.at] } }] : null, "group-hull");
    map.setHere(going && here ? { at: here.at, accuracyM: here.accuracyM ?? 0 } : null);
    if (!here) return;
    const [lon, lat] = here.at;
    const box = fitted.current;
    if (box && lon >= box[0] && lat >= box[1] && lon <= box[2] && lat <= box[3]) return;
    fitted.current = around({ type: "MultiPoint", coordinates: (shown?.lines ?? []).flat().map((f) => f.at) });
    if (fitted.current) map.fit(fitted.current);
  }, [map, shown, going, mark]);
  useEffect(
    () => () => {
      for (const name of ["round", "round-start", "round-word", "round-back"]) map.setOverlay(name, null);
      map.setHere(null);
    },
    [map],
  );
}
