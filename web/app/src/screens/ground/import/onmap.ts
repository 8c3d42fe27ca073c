import type { Proposed, Said, SaidOfShape } from "../../../api/imports";
import type { Geometry } from "../../../geo/position";
import type { Shape } from "../../../map/farmmap";
import { type Choices, isTaken } from "./agree";

/** Names of what an import puts on the map. */
export const overlays = ["import-left", "import-read", "import-taken", "import-piece"] as const;
export type OverlayName = (typeof overlays)[number];

/** A shape as it would be stored by what was chosen; null when it has no place. */
export function shapeAs(shape: Proposed, choices: Choices): Geometry | null {
  const as = choices.get(shape.number)?.as ?? "leave";
  return (as !== "leave" && shape.shapes?.[as]) || shape.feature.geometry;
}

/**
 * What the map shows of a proposal: every shape, taken or left; beside those on
 * the page how the file draws them and the ground in question. Only shapes of
 * the page carry their names.
 */
export function shown(all: readonly Proposed[], page: readonly Proposed[], choices: Choices): Record<OverlayName, Shape[]> {
  const named = new Set(page.map((s) => s.number));
  const out: Record<OverlayName, Shape[]> = { "import-left": [], "import-read": [], "import-taken": [], "import-piece": [] };
  for (const s of all) {
    const taken = isTaken(choices.get(s.number));
    const geometry = taken ? shapeAs(s, choices) : (s.feature.geometry ?? s.as_read ?? null);
    if (!geometry) continue;
    const label = named.has(s.number) ? s.name || `${s.number}` : undefined;
    out[taken ? "import-taken" : "import-left"].push({ id: String(s.number), geometry, label });
  }
  for (const s of page) {
    if (s.as_read && s.feature.geometry) out["import-read"].push({ id: String(s.number), geometry: s.as_read });
    for (const said of s.said ?? []) if (said.piece) out["import-piece"].push({ id: `${s.number} ${out["import-piece"].length}`, geometry: said.piece });
  }
  return out;
}

/** A thing said, with the number of its mark on the map if it has a place. */
export interface Numbered<S extends Said = SaidOfShape> {
  readonly said: S;
  readonly mark: number | null;
}

/** Numbers things said in the order they are listed, from `after` + 1: the numbers their marks carry. */
export function numbered<S extends Said>(said: readonly S[], after: number): Numbered<S>[] {
  let n = after;
  return said.map((s) => ({ said: s, mark: s.at.position ? ++n : null }));
}

/** Notices of the file that no shape says again. */
export function ofFile(notices: readonly Said[], shapes: readonly Proposed[]): Said[] {
  const again = new Set<string>();
  for (const s of shapes) for (const said of s.said ?? []) again.add(same(said));
  return notices.filter((n) => !again.has(same(n)));
}

const same = (s: Said) => JSON.stringify([s.key, s.message, s.at.entry, s.at.feature, s.at.part, s.at.ring, s.at.vertex]);
