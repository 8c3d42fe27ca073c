import type { Change } from "../../../api/client";
import type { PlannedRow, Revision } from "../../../api/planting";
import type { LineString, MultiLineString } from "../../../geo/position";

/** A row's shape: a line, or several where a hole cuts it. */
export function rowShape(parts: PlannedRow["parts"]): LineString | MultiLineString {
  const [only] = parts;
  return parts.length === 1 && only ? { type: "LineString", coordinates: only } : { type: "MultiLineString", coordinates: parts };
}

/** The changes of a revision, as the server proposed them; places given up say why. */
export function revisedRows(revision: Revision, why: string): Change[] {
  const put = revision.rows.map((row): Change => {
    const { base, ...record } = row;
    const lost = revision.conflicts.filter((c) => c.row === record.properties.number).map((c) => c.plant);
    const gone = [...(record.properties.gone ?? []), ...[...new Set(lost)].map((plant) => ({ plant, why }))];
    const said = gone.filter((g, i) => gone.findIndex((o) => o.plant === g.plant) === i);
    const properties = { ...record.properties, ...(said.length > 0 ? { gone: said } : {}) };
    return { op: "put", kind: "rows", id: row.id, record: { ...record, properties }, base: base ?? null };
  });
  const dropped = revision.dropped.map((row): Change => ({ op: "delete", kind: "rows", id: row.id, base: row.base, ...(why ? { why } : {}) }));
  return [...put, ...dropped];
}
