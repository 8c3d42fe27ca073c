import type { Change, LayoutAnswer } from "../../api/client";
import type { LineString, MultiLineString } from "../../geo/position";
import { feature, type Stored } from "../../model/kinds";

/** A row's shape: a line, or several where a hole cuts it. */
export function rowShape(parts: LayoutAnswer["each"][number]["parts"]): LineString | MultiLineString {
  const [only] = parts;
  return parts.length === 1 && only ? { type: "LineString", coordinates: only } : { type: "MultiLineString", coordinates: parts };
}

/**
 * The changes that make the rows on record those of a layout: rows keep the
 * record of their number, further ones are made, those beyond are closed.
 * Plants noted as missing stay noted where the row still has that place.
 */
export function rowChanges(plan: LayoutAnswer, block: string, onRecord: readonly Stored<"rows">[], newId: () => string): Change[] {
  const byNumber = new Map(onRecord.map((r) => [r.feature.properties.number, r]));
  const changes: Change[] = plan.each.map((row) => {
    const old = byNumber.get(row.number);
    byNumber.delete(row.number);
    const missing = (old?.feature.properties.missing ?? []).filter((n) => n <= row.plants);
    const properties = { ...old?.feature.properties, block, number: row.number, plants: row.plants, missing };
    const id = old?.id ?? newId();
    return { op: "put", kind: "rows", id, record: feature<"rows">(id, rowShape(row.parts), properties), base: old?.revision ?? null };
  });
  for (const old of byNumber.values()) changes.push({ op: "delete", kind: "rows", id: old.id, base: old.revision });
  return changes;
}
