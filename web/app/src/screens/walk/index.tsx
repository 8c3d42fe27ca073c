import { useEffect, useMemo, useState } from "preact/hooks";
import type { Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { drawnRows } from "../../rowmap/rows";
import { Choice } from "../../ui/form";
import { useRecords, useText, useUnits } from "../../ui/hooks";
import { later } from "../../ui/later";
import { ProblemNote } from "../../ui/notes";
import type { Place, PlaceProps } from "../place";
import { CountPanel } from "./countpanel";
import { FindEntry } from "./findentry";
import { useFix, useGps } from "./fix";
import { Today } from "./today";
import { useTrack } from "./track";
import { isPaused } from "./effort";
import { VisitPanel } from "./visitpanel";
import { useVisit } from "./visiting";
import { VisitStrip } from "./visitstrip";
import "./walk.css";

const WalkPlan = later(async () => (await import("../scoutplan/walkplan")).WalkPlan);

/** What is done in Walk; it stands in the address. A count's programme follows its word: "count:clipped-buds". */
type Doing = "find" | "count" | "visit";

const doings: readonly Doing[] = ["find", "count", "visit"];

const titles = { find: "walk-title", count: "walk-title-count", visit: "walk-title-visit" } as const;

function doingOf(view: string | undefined): Doing {
  return doings.find((d) => view === d || view?.startsWith(`${d}:`)) ?? "find";
}

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
  const doing = doingOf(address.view);
  if (address.view?.startsWith("plan")) return <WalkPlan {...props} />;
  return (
    <div class="walk">
      <h1>{t(titles[doing])}</h1>
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
      {!may && <p>{t("walk-read-only")}</p>}
      {block && <InBlock key={block.id} {...props} block={block} may={may} doing={doing} />}
      <button type="button" class="big" onClick={() => go({ view: "plan" })}>
        {t("scoutplan-plan")}
      </button>
    </div>
  );
}

function InBlock(props: PlaceProps & { block: Stored<"blocks">; may: boolean; doing: Doing }) {
  const t = useText();
  useUnits();
  const { farm, map, block, may, doing, address, go } = props;
  const rowList = useRecords(farm, "rows").list;
  const { plant_spacing_m: spacing = null, row_bearing_deg: bearing } = block.feature.properties;
  const rows = useMemo(() => drawnRows(rowList, block.id, spacing), [rowList, block.id, spacing]);
  const visit = useVisit(farm, block.id);
  const [gps, setGps] = useGps();
  const position = useFix(gps && may);
  const paused = visit.mine !== undefined && isPaused(visit.mine.feature.properties);
  const walked = useTrack(farm.id, visit.mine?.id, paused, position.fix);
  const [problem, setProblem] = useState<unknown>(null);

  useEffect(() => {
    // Rows run up the screen, as the walker sees them.
    if (bearing !== undefined) map.turnTo(bearing);
    map.fit([block.feature.geometry]);
    return () => map.north();
  }, [map, block.id, bearing]);
  const { fix } = position;
  useEffect(() => {
    map.setHere(fix ? { at: fix.at, accuracyM: fix.accuracyM } : null);
    return () => map.setHere(null);
  }, [map, fix]);

  const strip = <VisitStrip visit={visit} farm={farm} onStarted={() => setGps(true)} onClose={doing === "visit" ? undefined : () => go({ view: "visit" })} onProblem={setProblem} />;
  return (
    <>
      {may && (
        <nav class="walk-doing" aria-label={t("walk-do")}>
          {doings.map((d) => (
            <button key={d} type="button" class="big" aria-pressed={d === doing} onClick={() => go({ view: d === "find" ? undefined : d })}>
              {t(`walk-do-${d}`)}
            </button>
          ))}
        </nav>
      )}
      {may && (!visit.mine || doing === "visit") && strip}
      {problem !== null && <ProblemNote problem={problem} />}
      {may && doing === "find" && <FindEntry {...props} rows={rows} position={position} gps={gps} onGps={setGps} visit={visit.mine} />}
      {may && doing === "count" && <CountPanel farm={farm} api={props.api} view={address.view} go={go} visit={visit} />}
      {may && doing === "visit" && <VisitPanel farm={farm} api={props.api} rows={rows} visit={visit} walked={walked} gps={gps} onGps={setGps} />}
      {doing === "find" && <Today farm={farm} map={map} block={block.id} />}
      {may && visit.mine && doing !== "visit" && strip}
    </>
  );
}

export const walk: Place = { name: "walk", Sheet, opens: "full", early: true };
