import type { Change } from "../../../api/client";
import type { PlannedRow, PlantingAnswer, Revision } from "../../../api/planting";
import type { LineString, MultiLineString } from "../../../geo/position";
import { feature, type RowProperties } from "../../../model/kinds";

/** A row's shape: a line, or several where a hole cuts it. */
export function rowShape(parts: PlannedRow["parts"]): LineString | MultiLineString {
  const [only] = parts;
  return parts.length === 1 && only ? { type: "LineString", coordinates: only } : { type: "MultiLineString", coordinates: parts };
}

/** The changes that store a layout where no row stands yet. */
export function firstRows(plan: PlantingAnswer, block: string, skip: readonly number[], newId: () => string): Change[] {
  const left = new Set(skip);
  return plan.each
    .filter((row) => row.parts.length > 0)
    .map((row) => {
      const skipped = row.skipped ?? left.has(row.number);
      const properties: RowProperties = {
        block,
        number: row.number,
        plants: skipped ? 0 : row.plants,
        ...(skipped ? { skipped } : {}),
        ...(row.posts ? { posts: row.posts } : {}),
      };
      const id = newId();
      return { op: "put", kind: "rows", id, record: feature<"rows">(id, rowShape(row.parts), properties), base: null };
    });
}

/** The changes of a revision, as the server proposed them; places given up say why. */
export function revisedRows(revision: Revision, why: string): Change[] {
  return revision.rows.map((row) => {
    const { base, ...record } = row;
    const lost = revision.conflicts.filter((c) => c.row === record.properties.number).map((c) => c.plant);
    const gone = [...(record.properties.gone ?? []), ...[...new Set(lost)].map((plant) => ({ plant, why }))];
    const said = gone.filter((g, i) => gone.findIndex((o) => o.plant === g.plant) === i);
    const properties = { ...record.properties, ...(said.length > 0 ? { gone: said } : {}) };
    return { op: "put", kind: "rows", id: row.id, record: { ...record, properties }, base: base ?? null };
  });
}
