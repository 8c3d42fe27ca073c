import type { Move } from "./picture";
import type { Xy } from "./view";

/** How far Shift goes. */
export const leap = 10;

const arrows: Readonly<Record<string, Xy>> = { ArrowUp: [0, 1], ArrowDown: [0, -1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] };

/** Where a key leads, by how the picture lies: an arrow goes the way it points, or nearest to it. */
export function keyMove(e: { key: string; shiftKey: boolean }, turn: number): Move | null {
  if (e.key === "Home") return { end: "first" };
  if (e.key === "End") return { end: "last" };
  if (e.key === "PageDown") return { rows: 1 };
  if (e.key === "PageUp") return { rows: -1 };
  const arrow = arrows[e.key];
  if (!arrow) return null;
  const quarter = Math.round(turn / (Math.PI / 2));
  let [x, y] = arrow;
  for (let i = 0; i < ((quarter % 4) + 4) % 4; i++) [x, y] = [-y, x];
  const far = e.shiftKey ? leap : 1;
  return y !== 0 ? { along: y * far } : { across: x * far };
}
