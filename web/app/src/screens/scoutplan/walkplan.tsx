import { useEffect, useMemo, useState } from "preact/hooks";
import { type SamplingWalk, Scouting, type WalkKind, walkKinds, type WalkStop } from "../../api/scouting";
import type { Shape } from "../../map/farmmap";
import type { PlannedStop, Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { MainAction } from "../../ui/action";
import { useAsked } from "../../ui/asked";
import { Choice, TextField } from "../../ui/form";
import { useRecords, useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { TakeFile } from "../../ui/take";
import { say } from "../../ui/undo";
import { plantId } from "../../rowmap/marks";
import { DataTable } from "../papers/datatable";
import type { Column } from "../papers/table";
import type { PlaceProps } from "../place";
import { RowsPicture } from "../walk/pickplant";
import { useVisit } from "../walk/visiting";
import { askOf, mostSeed, newSeed, readPlan, whole, writePlan } from "./plan";
import "./scoutplan.css";

/** Stops for a count, drawn from a seed that stands in the address. */
export function WalkPlan(props: PlaceProps) {
  const t = useText();
  const { farm, api, address, go } = props;
  const blocks = useRecords(farm, "blocks");
  const block = farm.find("blocks", address.block);
  const plan = readPlan(address.view);
  const { now } = useAsked((options) => new Scouting(api).programmes(options), [api]);
  const [programme, setProgramme] = useState(plan?.programme ?? "");
  const [kind, setKind] = useState<WalkKind>(plan?.kind ?? "spread");
  const [stops, setStops] = useState(plan?.stops === undefined ? "" : String(plan.stops));
  const [seed, setSeed] = useState(String(plan?.seed ?? newSeed()));
  const [faults, setFaults] = useState<{ stops?: string; seed?: string }>({});
  const chosen = now?.programmes.find((p) => p.id === programme);
  const draw = () => {
    const [n, of] = [stops.trim() ? whole(stops) : undefined, whole(seed)];
    setFaults({ ...(n === null || n === 0 ? { stops: t("scoutplan-stops-bad") } : {}), ...(of === null || of > mostSeed ? { seed: t("scoutplan-seed-bad") } : {}) });
    if (n !== null && n !== 0 && of !== null && of <= mostSeed) go({ view: writePlan({ programme, kind, stops: n, seed: of }) });
  };
  return (
    <div class="walk">
      <button type="button" class="link" onClick={() => go({ view: undefined })}>
        {t("scoutplan-to-walk")}
      </button>
      <h1>{t("scoutplan-walk-title")}</h1>
      <Choice label={t("scoutplan-block")} value={block?.id ?? ""} choices={blocks.list.map((b) => ({ value: b.id, label: b.feature.properties.name }))} onValue={(id) => go({ block: id })} />
      <Choice label={t("scoutplan-programme")} value={programme} empty={t("scoutplan-no-programme")} choices={(now?.programmes ?? []).map((p) => ({ value: p.id, label: p.title }))} hint={chosen?.sample} onValue={setProgramme} />
      <div class="pair">
        <TextField label={t("scoutplan-stops")} inputMode="numeric" optional value={stops} fault={faults.stops} onValue={setStops} />
        <TextField label={t("scoutplan-seed")} inputMode="numeric" value={seed} fault={faults.seed} onValue={setSeed} />
      </div>
      <p class="hint">{t("scoutplan-stops-how")}</p>
      <Choice label={t("scoutplan-kind")} value={kind} choices={walkKinds.map((k) => ({ value: k, label: t(`scoutplan-kind-${k}`) }))} hint={t(`scoutplan-kind-${kind}-how`)} onValue={setKind} />
      {block && plan && <Drawn key={`${block.id} ${address.view}`} {...props} block={block} />}
      <MainAction label={t("scoutplan-draw")} run={draw} blocked={block ? undefined : t("scoutplan-choose-block")} />
    </div>
  );
}

function Drawn({ farm, api, map, address, go, block }: PlaceProps & { block: Stored<"blocks"> }) {
  const t = useText();
  const plan = readPlan(address.view)!;
  const ask = askOf(block.id, plan);
  const scouting = new Scouting(api);
  const { now, problem, again } = useAsked((options) => scouting.walk(ask, options), [api, block.id, address.view]);
  const [picture, setPicture] = useState(false);
  const [at, setAt] = useState<{ row: number; plant: number } | null>(null);
  useEffect(() => map.fit([block.feature.geometry]), [map, block.id]);
  useEffect(() => {
    map.setOverlay("scoutplan-stops", stopShapes(now?.stops ?? []), "marked");
    return () => map.setOverlay("scoutplan-stops", null);
  }, [map, now]);
  const marked = useMemo(() => new Set(now?.stops.map((s) => plantId(s.row, s.plant))), [now]);
  if (problem !== null) return <ProblemNote problem={problem} onRetry={again} />;
  if (!now) return <p>{t("core-loading")}</p>;
  const columns: Column<WalkStop>[] = [
    { key: "number", head: t("scoutplan-stop"), cell: (s) => s.number },
    { key: "row", head: t("scoutplan-row"), cell: (s) => s.row },
    { key: "plant", head: t("scoutplan-plant"), cell: (s) => s.plant },
  ];
  const choose = (s: WalkStop) => {
    setAt({ row: s.row, plant: s.plant });
    if (s.lon !== null && s.lat !== null) map.goTo([s.lon, s.lat]);
  };
  return (
    <section>
      <DataTable
        caption={t("scoutplan-stops-of", { n: now.stops.length })}
        columns={columns}
        rows={now.stops}
        keyOf={(s) => String(s.number)}
        file={`${farm.id}-sampling-walk`}
        chosen={at ? String(now.stops.find((s) => s.row === at.row && s.plant === at.plant)?.number ?? "") : undefined}
        onChoose={choose}
        chooseName={(s) => t("scoutplan-show-stop", { n: String(s.number) })}
      />
      {now.says && <p>{now.says}</p>}
      <div class="buttons">
        <button type="button" aria-pressed={picture} onClick={() => setPicture(!picture)}>
          {t("walk-row-map")}
        </button>
        <TakeFile net={api.net} path={scouting.walkPath(ask, "gpx")} file={`${farm.id}-sampling-walk.gpx`} label={t("scoutplan-gpx")} />
        <TakeFile net={api.net} path={scouting.walkPath(ask, "pdf")} file={`${farm.id}-sampling-walk.pdf`} label={t("scoutplan-print")} />
      </div>
      {picture && <RowsPicture farm={farm} block={block} at={at} onAt={setAt} drafted={marked} draftedSays={t("scoutplan-a-stop")} />}
      {mayWrite(farm.info.role, "visits") && <StartVisit farm={farm} go={go} block={block.id} walk={now} />}
      <p class="hint">{now.how}</p>
      <p class="hint">{t("scoutplan-address")}</p>
    </section>
  );
}

function stopShapes(stops: readonly WalkStop[]): Shape[] {
  return stops.flatMap((s): Shape[] => (s.lon === null || s.lat === null ? [] : [{ id: String(s.number), geometry: { type: "Point", coordinates: [s.lon, s.lat] }, label: String(s.number) }]));
}

/** Puts the stops into a visit, so that a phone has them where there is no signal. */
function StartVisit({ farm, go, block, walk }: Pick<PlaceProps, "farm" | "go"> & { block: string; walk: SamplingWalk }) {
  const t = useText();
  const visit = useVisit(farm, block);
  const [problem, setProblem] = useState<unknown>(null);
  const planned_stops = walk.stops.map((s): PlannedStop => ({ row: s.row, plant: s.plant, ...(s.lon === null || s.lat === null ? {} : { at: [s.lon, s.lat] }) }));
  const start = async () => {
    setProblem(null);
    try {
      await (visit.mine ? visit.amend((p) => ({ ...p, planned_stops })) : visit.start({ planned_stops }));
      say(t("scoutplan-started", { n: planned_stops.length }));
      go({ view: undefined });
    } catch (thrown) {
      setProblem(thrown);
    }
  };
  return (
    <>
      <button type="button" class="big" onClick={() => void start()}>
        {t(visit.mine ? "scoutplan-add-to-visit" : "scoutplan-start-visit")}
      </button>
      {problem !== null && <ProblemNote problem={problem} />}
    </>
  );
}
