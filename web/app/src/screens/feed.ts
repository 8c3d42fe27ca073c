import { useEffect } from "preact/hooks";
import type { FarmMap, FindMark } from "../map/farmmap";
import type { Address, PlaceName } from "../model/address";
import type { Farm } from "../model/farm";
import type { Stored } from "../model/kinds";
import { inSeason } from "../model/season";
import { useRecords, useSignal, useUnits } from "../ui/hooks";
import type { FarmFigures } from "../api/figures";
import { area } from "../units";

// Where the question is the ground itself or a spray on it, hundreds of finds
// would hide it.
const withFinds: readonly PlaceName[] = ["walk", "disease", "papers"];

/** Keeps blocks, rows and surroundings on the map as the farm's records change, and finds where the place is about them. */
export function useFeed(farm: Farm, figures: FarmFigures, map: FarmMap | null, { season, place }: Address): void {
  const blocks = useRecords(farm, "blocks").list;
  const rows = useRecords(farm, "rows").list;
  const measured = useSignal(figures.now).of;
  const surroundings = useRecords(farm, "surroundings").list;
  const finds = useRecords(farm, "finds").list;
  const removals = useRecords(farm, "removals").list;
  const system = useUnits();

  useEffect(() => {
    if (blocks.length > 0) void figures.refresh();
  }, [figures, blocks, rows]);
  useEffect(() => {
    map?.setBlocks(
      blocks.map((b) => {
        const m2 = measured.get(b.id)?.outline_m2;
        return { id: b.id, geometry: b.feature.geometry, name: b.feature.properties.name, figure: m2 === undefined ? undefined : area(m2, system) };
      }),
    );
  }, [map, blocks, measured, system]);
  useEffect(() => {
    map?.setRows(
      rows.map((r) => ({ id: r.id, block: r.feature.properties.block, number: r.feature.properties.number, geometry: r.feature.geometry })),
    );
  }, [map, rows]);
  useEffect(() => {
    map?.setSurroundings(
      surroundings.map((s) => ({ id: s.id, kind: s.feature.properties.kind, name: s.feature.properties.name, geometry: s.feature.geometry })),
    );
  }, [map, surroundings]);
  useEffect(() => {
    map?.setFinds(withFinds.includes(place) ? findMarks(finds, removals, season, farm.info.zone) : []);
  }, [map, finds, removals, season, place, farm]);
}

/** The marks of a season's finds. A find on a plant that a finished removal took out is a cross. */
export function findMarks(
  finds: readonly Stored<"finds">[],
  removals: readonly Stored<"removals">[],
  season: string | undefined,
  zone: string,
): FindMark[] {
  const gone = new Set<string>();
  for (const { feature } of removals) {
    const { block, plants, done_on } = feature.properties;
    if (done_on) for (const p of plants ?? []) gone.add(`${block} ${p.row} ${p.plant}`);
  }
  const marks: FindMark[] = [];
  for (const { id, feature } of finds) {
    const p = feature.properties;
    if (!feature.geometry || !inSeason(p.found_at, season, zone)) continue;
    const state = gone.has(`${p.block} ${p.row} ${p.plant}`) ? "removed" : p.state;
    marks.push({ id, at: feature.geometry.coordinates, cause: p.cause, state, severity: p.severity });
  }
  return marks;
}
