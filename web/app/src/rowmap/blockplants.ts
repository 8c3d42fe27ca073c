import { useMemo } from "preact/hooks";
import { type PlantMarks, plantMarks } from "./marks";
import { type Picture, pictureOf } from "./picture";
import { drawnRows } from "./rows";
import type { DrawnRow } from "./rowplace";
import type { Farm } from "../model/farm";
import type { Stored } from "../model/kinds";
import { useRecords } from "../ui/hooks";

export interface BlockPlants {
  readonly rows: readonly DrawnRow[];
  readonly picture: Picture;
  readonly marks: PlantMarks;
  readonly visits: readonly Stored<"visits">[];
  readonly loading: boolean;
}

/** The plants of a block with all that is known of them; `visits` are those that count as looking. */
export function useBlockPlants(farm: Farm, block: Stored<"blocks">, counts: (v: Stored<"visits">) => boolean): BlockPlants {
  const rows = useRecords(farm, "rows");
  const finds = useRecords(farm, "finds").list;
  const removals = useRecords(farm, "removals").list;
  const all = useRecords(farm, "visits").list;
  const spacing = block.feature.properties.plant_spacing_m ?? null;
  const bearing = block.feature.properties.row_bearing_deg;
  const drawn = useMemo(() => drawnRows(rows.list, block.id, spacing), [rows.list, block.id, spacing]);
  const picture = useMemo(() => pictureOf(drawn, spacing, bearing), [drawn, spacing, bearing]);
  const visits = useMemo(() => all.filter((v) => v.feature.properties.block === block.id), [all, block.id]);
  const counted = visits.filter(counts);
  const ids = counted.map((v) => `${v.id} ${v.revision}`).join();
  const marks = useMemo(() => plantMarks(block.id, { rows: rows.list, finds, removals, visits: counted }), [block.id, rows.list, finds, removals, ids]);
  return { rows: drawn, picture, marks, visits, loading: rows.state === "idle" || rows.state === "loading" };
}
