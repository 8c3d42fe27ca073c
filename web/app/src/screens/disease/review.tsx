import { type ComponentType } from "preact";
import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { language } from "../../i18n";
import type { Position } from "../../geo/position";
import { ellipseAround } from "../../geo/ringaround";
import type { FindMark, Shape } from "../../map/farmmap";
import type { PlantAt, Stored } from "../../model/kinds";
import { yearOf } from "../../model/season";
import { MainAction } from "../../ui/action";
import { useRecords, useSignal, useText, useUnits } from "../../ui/hooks";
import { mapDay } from "../../ui/mapday";
import { ProblemNote } from "../../ui/notes";
import { typedLength } from "../../units";
import { drawnRows } from "../../rowmap/rows";
import { nearestPlant, plantPlace, stepM, type Stretch, strip, stretches, stretchLines } from "../../rowmap/rowplace";
import type { PlaceProps } from "../place";
import { type Answer, answerOf, type WireAnswer } from "./answer";
import { Choices, CostLine } from "./choices";
import { Compare } from "./compare";
import { DateBar } from "./datebar";
import { daysOf, type Happened, upTo } from "./days";
import { asked } from "../removals/wire";
import { OneFind } from "./onefind";
import type { PicturedProps } from "./picture";
import { Removal } from "./removal";
import { Search } from "./search";
import { ask, defaults, type Faults, type SettingsForm } from "./settings";
import { Settings } from "./settingsform";
import { type Chosen, Shown } from "./shown";
import { unseen } from "./unseen";

/** A changed setting is asked anew when the hand has rested this long. */
const restMs = 500;

interface Asked {
  readonly body: Record<string, unknown>;
  readonly answer: Answer;
}

/** One block under review: what counts, what each choice would cost, and why. */
export function Review(props: PlaceProps & { block: Stored<"blocks"> }) {
  const t = useText();
  useUnits();
  const { farm, api, map, address, go, block } = props;
  const p = block.feature.properties;
  const spacing = p.plant_spacing_m ?? null;
  const [form, setForm] = useState<SettingsForm>(() => defaults(p, typedLength().unit));
  const [day, setDay] = useState<string | undefined>();
  const [chosen, setChosen] = useState<Chosen>({});
  const [pictured, setPictured] = useState(false);
  const happened = useHappened(props);
  const rowRecords = useRecords(farm, "rows").list;
  const surroundings = useRecords(farm, "surroundings").list;
  const rows = useMemo(() => drawnRows(rowRecords, block.id, spacing), [rowRecords, block.id, spacing]);
  const days = useMemo(() => daysOf(happened), [happened]);
  const until = useMemo(() => upTo(happened, day), [happened, day]);
  const year = day?.slice(0, 4) ?? address.season ?? yearOf(days.at(-1)?.day, farm.info.zone) ?? "";
  const [now, earlier] = useMemo(() => byYear(until, year, farm.info.zone), [until, year, farm]);
  const run = useRun(api, form, block.id, days.find((d) => d.day === day)?.end);
  const answer = run.now?.answer ?? null;
  const chosenFind = address.view?.startsWith("find:") ? address.view.slice(5) : undefined;
  const picked = useMemo(() => (chosen.plant ? [chosen.plant] : (answer?.groups.find((g) => g.number === chosen.group)?.finds ?? [])), [chosen, answer]);

  useEffect(() => map.fit([block.feature.geometry]), [map, block.id]);
  useEffect(() => setChosen({}), [answer]);
  // What was asked for by hand comes into view; what follows a setting stays where it is read.
  const top = useRef<HTMLDivElement>(null);
  const byHand = useRef(false);
  useEffect(() => {
    if (answer && byHand.current) top.current?.scrollIntoView({ block: "start" });
    byHand.current = false;
  }, [answer]);
  // A find chosen on the map is shown in the list as well, and so is a plant of the list.
  useEffect(() => {
    const q = farm.find("finds", chosenFind)?.feature.properties;
    if (q?.row !== undefined && q.plant !== undefined) setChosen({ plant: { row: q.row, plant: q.plant } });
  }, [farm, chosenFind]);
  useEffect(
    () =>
      map.onPick((pick, at) => {
        if (!pick || typeof pick.layer !== "object" || pick.layer.overlay !== "disease-rows") return;
        const near = nearestPlant(rows, [at[0]!, at[1]!], spacing);
        if (near) setChosen({ plant: { row: near.row, plant: near.plant } });
      }),
    [map, rows, spacing],
  );
  useOnMap(props, { rows, spacing, day, until, now, earlier, answer, picked });

  const places = (answer?.list.confirmed ?? []).flatMap((at): Position[] => {
    const place = plantPlace(rows, at.row, at.plant, spacing);
    return place ? [[...place]] : [];
  });
  return (
    <>
      {rows.length > 0 && (
        <div class="toggle" role="group" aria-label={t("disease-picture")}>
          <button type="button" aria-pressed={!pictured} onClick={() => setPictured(false)}>
            {t("disease-picture-map")}
          </button>
          <button type="button" aria-pressed={pictured} onClick={() => setPictured(true)}>
            {t("disease-picture-rows")}
          </button>
        </div>
      )}
      {pictured && (
        <LazyPicture block={block} rows={rows} rowRecords={rowRecords} shown={now} earlier={earlier} answer={answer} chosen={picked} onTake={(plant) => setChosen({ plant })} />
      )}
      <DateBar days={days} day={day} onDay={setDay} />
      <Settings form={form} faults={run.faults} onForm={setForm} />
      {run.running && (
        <div role="status" class="running">
          <progress aria-label={t("disease-running")} /> {t("disease-running")}{" "}
          <button type="button" onClick={run.stop}>
            {t("core-stop")}
          </button>
        </div>
      )}
      {run.stopped && <p role="status">{t("disease-stopped")}</p>}
      {run.problem !== null && <ProblemNote problem={run.problem} map={map} />}
      {run.now && answer && (
        <div ref={top}>
          {answer.choices.length > 0 ? <Choices choices={answer.choices} before={run.before?.answer.choices ?? null} /> : <NothingListed why={answer.whyNoList} />}
          <Shown
            answer={answer}
            minFinds={form.minFinds}
            chosen={chosen}
            onChosen={setChosen}
            file={`${farm.id}-${p.name}-groups`.replace(/[^\w-]+/g, "-").toLowerCase()}
          />
          {farm.info.role === "adviser" && !day && (
            <p>
              <button
                type="button"
                onClick={() => {
                  asked.set({ block: block.id, body: run.now!.body });
                  go({ view: "sign" });
                }}
              >
                {t("removals-sign-this")}
              </button>
            </p>
          )}
          <Compare api={api} asked={run.now.body} answer={answer} day={day} days={days} />
        </div>
      )}
      <Search map={map} places={places} wild={surroundings.filter((s) => s.feature.properties.kind === "wild-brambles")} />
      <OneFind {...props} finds={happened.finds} chosen={chosenFind} onChoose={(id) => go({ view: `find:${id}` })} />
      <Removal farm={farm} block={block} rows={rows} listed={answer?.list.confirmed ?? []} />
      {answer && <CostLine choices={answer.choices} before={run.before?.answer.choices ?? null} />}
      <MainAction label={t("disease-run")} run={() => {
          byHand.current = true;
          run.again();
        }} busy={run.running} />
    </>
  );
}

function NothingListed({ why }: { readonly why: string }) {
  const t = useText();
  return (
    <section>
      <h2>{t("disease-choices")}</h2>
      <p>{why || t("disease-list-empty")}</p>
    </section>
  );
}

/** What was found, looked at and taken out in the block, ever. */
function useHappened({ farm, block }: Pick<PlaceProps, "farm"> & { block: Stored<"blocks"> }): Happened {
  const finds = useRecords(farm, "finds").list;
  const visits = useRecords(farm, "visits").list;
  const removals = useRecords(farm, "removals").list;
  return useMemo(() => {
    const here = <K extends "finds" | "visits" | "removals">(list: readonly Stored<K>[]) => list.filter((r) => (r.feature.properties as { block?: string }).block === block.id);
    return { finds: here(finds), visits: here(visits), removals: here(removals) };
  }, [finds, visits, removals, block.id]);
}

/** What happened with the finds of a year, and the finds of earlier years. */
function byYear(happened: Happened, year: string, zone: string): [Happened, readonly Stored<"finds">[]] {
  const of = (f: Stored<"finds">) => yearOf(f.feature.properties.found_at, zone) ?? year;
  const now = happened.finds.filter((f) => of(f) >= year);
  return [{ ...happened, finds: now }, happened.finds.filter((f) => of(f) < year)];
}

/** Asks the server, and again after a setting or the day changed once it has answered. */
function useRun(api: PlaceProps["api"], form: SettingsForm, block: string, asOf: string | undefined) {
  const [faults, setFaults] = useState<Faults>({});
  const [now, setNow] = useState<Asked | null>(null);
  const [before, setBefore] = useState<Asked | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const [stopped, setStopped] = useState(false);
  const [running, setRunning] = useState(false);
  const stopper = useRef<AbortController | null>(null);
  useEffect(() => () => stopper.current?.abort(), []);

  const again = async () => {
    const built = ask(form, block, asOf);
    setFaults(built.ok ? {} : built.faults);
    if (!built.ok) return;
    stopper.current?.abort();
    const mine = new AbortController();
    stopper.current = mine;
    setRunning(true);
    setProblem(null);
    setStopped(false);
    try {
      const answer = answerOf(await api.hotSpots<WireAnswer>(built.body as never, { signal: mine.signal }));
      if (stopper.current !== mine) return;
      if (now && JSON.stringify(now.body) !== JSON.stringify(built.body)) setBefore(now);
      setNow({ body: built.body, answer });
    } catch (thrown) {
      if (stopper.current !== mine) return;
      if (mine.signal.aborted) setStopped(true);
      else setProblem(thrown);
    }
    setRunning(false);
  };
  const latest = useRef(again);
  latest.current = again;

  const question = JSON.stringify([form, asOf]);
  const asked = useRef(question);
  const answered = now !== null;
  useEffect(() => {
    if (asked.current === question) return;
    asked.current = question;
    if (!answered) return;
    const rest = setTimeout(() => void latest.current(), restMs);
    return () => clearTimeout(rest);
  }, [question]);
  // The server's words come in the language they were asked in.
  const spokenIn = useSignal(language);
  const askedIn = useRef(spokenIn);
  useEffect(() => {
    if (askedIn.current === spokenIn) return;
    askedIn.current = spokenIn;
    if (answered) void latest.current();
  }, [spokenIn]);
  return { faults, now, before, problem, stopped, running, again: () => void again(), stop: () => stopper.current?.abort() };
}

interface Drawn {
  readonly rows: ReturnType<typeof drawnRows>;
  readonly spacing: number | null;
  readonly day: string | undefined;
  readonly until: Happened;
  readonly now: Happened;
  readonly earlier: readonly Stored<"finds">[];
  readonly answer: Answer | null;
  readonly picked: readonly PlantAt[];
}

/** Puts on the map what is seen of the block: ground nobody looked at, finds of the day's year and of earlier ones, list and groups, what is chosen. */
function useOnMap({ map, block }: PlaceProps & { block: Stored<"blocks"> }, drawn: Drawn) {
  const t = useText();
  const { rows, spacing, day, until, now, earlier, answer, picked } = drawn;
  const p = block.feature.properties;
  const half = (p.row_spacing_m ?? 3) / 2;
  // The ellipse of a group's window, where its rows run one way; half axes as the server says.
  const windowShape = (of: Answer, n: number | null): Shape[] => {
    const w = n === null ? undefined : of.scan[n];
    const at = w && plantPlace(rows, w.centre.row, w.centre.plant, spacing);
    const line = w && rows.find((r) => r.number === w.centre.row)?.line;
    if (!w || !at || !line || line.length < 2) return [];
    // A row is drawn a little wider than its plants, so that the outermost lie inside.
    const [east, north] = stepM(line[0]!, line.at(-1)!);
    return [{ id: String(n), geometry: ellipseAround([...at], (w.semiminor_m + half / 2) * w.shape, w.semiminor_m + half / 2, (Math.atan2(east, north) * 180) / Math.PI) }];
  };
  const lines = (list: readonly Stretch[]): Shape[] =>
    list.flatMap((s) => stretchLines(rows, s, spacing).map((coordinates) => ({ geometry: { type: "LineString" as const, coordinates } })));

  useEffect(() => {
    const looked = until.visits.flatMap((v) => (v.feature.properties.inspected ? [v.feature.properties.inspected] : []));
    const ground = unseen(rows, looked).flatMap((s) => stretchLines(rows, s, spacing).map((l) => strip(l, half)));
    const shapes = ground.filter((ring) => ring.length > 3).map((ring): Shape => ({ geometry: { type: "Polygon", coordinates: [ring] } }));
    map.setOverlay("disease-unseen", shapes, "unseen");
    return () => map.setOverlay("disease-unseen", null);
  }, [map, rows, until, half]);

  useEffect(() => {
    const kept = new Set(now.finds.map((f) => f.id));
    const states = new Map(now.finds.map((f) => [f.id, f.feature.properties.state]));
    const before = new Set(earlier.map((f) => f.id));
    const out = new Set(until.removals.flatMap((r) => (r.feature.properties.done_on ? (r.feature.properties.plants ?? []).map((q) => `${q.row} ${q.plant}`) : [])));
    const gone = new Set(now.finds.filter((f) => out.has(`${f.feature.properties.row} ${f.feature.properties.plant}`)).map((f) => f.id));
    const mine = new Set([...kept, ...before]);
    map.dressFinds((mark: FindMark) => {
      if (kept.has(mark.id)) return { ...mark, state: gone.has(mark.id) ? "removed" : (states.get(mark.id) ?? mark.state) };
      // Of this block's finds what is not shown lies later or earlier.
      return mine.has(mark.id) || day ? null : mark;
    });
    return () => map.dressFinds(null);
  }, [map, now, earlier, until, day]);

  useEffect(() => {
    mapDay.set(day ?? null);
    return () => mapDay.set(null);
  }, [day]);

  useEffect(() => {
    const shapes = earlier.flatMap((f) => (f.feature.geometry ? [{ id: f.id, geometry: f.feature.geometry }] : []));
    map.setOverlay("disease-earlier", shapes, "earlier");
    return () => map.setOverlay("disease-earlier", null);
  }, [map, earlier]);

  useEffect(() => {
    if (!answer) return;
    map.setOverlay("disease-rows", lines(stretches([...answer.list.confirmed, ...answer.list.between, ...answer.list.margin])), "group-rows");
    map.setOverlay(
      "disease-hulls",
      answer.groups.flatMap((g) => (g.hull ? [{ id: `${g.number}`, geometry: g.hull, label: t("core-mark-hull") }] : [])),
      "group-hull",
    );
    map.setOverlay("disease-windows", answer.groups.flatMap((g) => windowShape(answer, g.window)), "window");
    return () => {
      map.setOverlay("disease-windows", null);
      map.setOverlay("disease-rows", null);
      map.setOverlay("disease-hulls", null);
    };
  }, [map, answer, rows, t]);

  useEffect(() => {
    const shapes = lines(stretches(picked));
    if (shapes.length === 0) return;
    map.setOverlay("disease-chosen", shapes, "chosen");
    const first = picked[0];
    const at = first && plantPlace(rows, first.row, first.plant, spacing);
    if (at) map.goTo(at);
    return () => map.setOverlay("disease-chosen", null);
  }, [map, picked, rows]);
}

/** The row map comes when it is asked for. */
function LazyPicture(props: PicturedProps) {
  const t = useText();
  const [Part, setPart] = useState<ComponentType<PicturedProps> | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const load = () => {
    setProblem(null);
    import("./picture").then((m) => setPart(() => m.Pictured), setProblem);
  };
  useEffect(load, []);
  if (Part) return <Part {...props} />;
  return problem === null ? <p>{t("core-loading")}</p> : <ProblemNote problem={problem} onRetry={load} />;
}
