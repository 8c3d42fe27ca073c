/** A place in map metres. */
export type Corner = number[];

/** Parts with their rings, shell first, rings closed. */
export type Shape = readonly Corner[][][];

interface Address {
  readonly part: number;
  readonly ring: number;
  readonly corner: number;
}

function nearest(shape: Shape, near: Corner): Address | null {
  let best: Address | null = null;
  let least = Infinity;
  shape.forEach((rings, part) =>
    rings.forEach((ring, r) =>
      ring.slice(0, -1).forEach((c, corner) => {
        const d = (c[0]! - near[0]!) ** 2 + (c[1]! - near[1]!) ** 2;
        if (d >= least) return;
        least = d;
        best = { part, ring: r, corner };
      }),
    ),
  );
  return best;
}

/**
 * The shape without the corner nearest to a place. A ring of three corners
 * cannot lose one: the whole ring goes, and with a shell its part. Null when
 * there is no corner.
 */
export function withoutCorner(shape: Shape, near: Corner): Shape | null {
  const hit = nearest(shape, near);
  if (!hit) return null;
  const open = shape[hit.part]![hit.ring]!.slice(0, -1);
  if (open.length <= 3) {
    if (hit.ring === 0) return shape.filter((_, i) => i !== hit.part);
    return shape.map((rings, i) => (i === hit.part ? rings.filter((_, r) => r !== hit.ring) : rings));
  }
  const kept = open.filter((_, i) => i !== hit.corner);
  const closed = [...kept, kept[0]!];
  return shape.map((rings, i) => (i === hit.part ? rings.map((ring, r) => (r === hit.ring ? closed : ring)) : rings));
}
