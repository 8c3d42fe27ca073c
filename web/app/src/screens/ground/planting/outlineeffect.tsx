import { useEffect, useRef, useState } from "preact/hooks";
import { Planting, type Revision } from "../../../api/planting";
import type { MultiPolygon, Polygon } from "../../../geo/position";
import type { Stored } from "../../../model/kinds";
import { Check } from "../../../ui/form";
import { useRecords, useText } from "../../../ui/hooks";
import { ProblemNote } from "../../../ui/notes";
import type { PlaceProps } from "../../place";
import { RevisionNote } from "./revision";

export interface OutlineEffectProps extends Pick<PlaceProps, "farm" | "api" | "map"> {
  readonly block: Stored<"blocks">;
  /** As drawn now. */
  readonly outline: Polygon | MultiPolygon | null;
  /** Hears why the outline cannot be saved yet; null when it can. */
  readonly onAsks: (why: string | null) => void;
}

// A corner is dragged in a second or two; the server is asked when it rests.
const restMs = 700;

/** What an edited outline would do to the rows that stand, before it is saved; asks where records stand in the way. */
export function OutlineEffect({ farm, api, map, block, outline, onAsks }: OutlineEffectProps) {
  const t = useText();
  const rows = useRecords(farm, "rows").list.filter((r) => r.feature.properties.block === block.id);
  const [revision, setRevision] = useState<Revision | null>(null);
  const [agreed, setAgreed] = useState(false);
  const [problem, setProblem] = useState<unknown>(null);
  const [asking, setAsking] = useState(false);
  const p = block.feature.properties;
  const changed = outline !== null && outline !== block.feature.geometry;
  const { row_spacing_m, plant_spacing_m } = p;
  const concerned = changed && rows.length > 0 && row_spacing_m !== undefined && plant_spacing_m !== undefined;

  useEffect(() => {
    setRevision(null);
    setAgreed(false);
    setProblem(null);
    if (!concerned || !outline || row_spacing_m === undefined || plant_spacing_m === undefined) return;
    setAsking(true);
    const stop = new AbortController();
    const timer = setTimeout(() => {
      const ask = { block: block.id, outline, row_spacing_m, plant_spacing_m, first_row_side: p.first_row_side, first_plant_end: p.first_plant_end };
      new Planting(api)
        .revise(ask, { signal: stop.signal })
        .then(setRevision, (thrown: unknown) => {
          if (!stop.signal.aborted) setProblem(thrown);
        })
        .finally(() => {
          if (!stop.signal.aborted) setAsking(false);
        });
    }, restMs);
    return () => {
      clearTimeout(timer);
      stop.abort();
    };
  }, [outline, concerned, block.id]);

  const conflicts = revision?.conflicts.length ?? 0;
  // An outline the server cannot lay rows out in is refused by it when it is saved.
  const asks = !concerned || problem ? null : !revision ? t("planting-outline-asks") : conflicts > 0 && !agreed ? t("planting-conflicts-first") : null;
  const heard = useRef(onAsks);
  heard.current = onAsks;
  useEffect(() => heard.current(asks), [asks]);
  useEffect(() => () => heard.current(null), []);

  if (!concerned) return null;
  return (
    <section aria-live="polite">
      <h2>{t("planting-outline-effect")}</h2>
      <ProblemNote problem={problem} />
      {asking && !revision && <p>{t("core-loading")}</p>}
      {revision && (
        <>
          <RevisionNote revision={revision} farm={farm} map={map} />
          {conflicts > 0 ? <Check label={t("planting-conflicts-agree")} checked={agreed} onChecked={setAgreed} /> : <p>{t("planting-outline-clear")}</p>}
          <p class="hint">{t("planting-outline-keep")}</p>
        </>
      )}
    </section>
  );
}
