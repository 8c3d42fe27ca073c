import { type WalkAsk, type WalkKind, walkKinds } from "../../api/scouting";

/** A walk as its address says it: "plan:clipped-buds:spread:20:4711"; an empty part is not said. */
export interface PlanView {
  readonly programme: string;
  readonly kind: WalkKind;
  readonly stops: number | undefined;
  readonly seed: number;
}

export const mostSeed = 2 ** 53 - 1;
// A seed somebody may have to type again from paper.
const shortSeed = 1_000_000;

/** Null where the address names no walk to draw. */
export function readPlan(view: string | undefined): PlanView | null {
  const [word, programme, kind, stops, seed] = (view ?? "").split(":");
  const n = whole(seed);
  if (word !== "plan" || n === null || n > mostSeed) return null;
  return { programme: programme ?? "", kind: walkKinds.find((k) => k === kind) ?? "spread", stops: whole(stops) ?? undefined, seed: n };
}

export function writePlan(p: PlanView): string {
  return ["plan", p.programme, p.kind, p.stops ?? "", p.seed].join(":");
}

export function askOf(block: string, p: PlanView): WalkAsk {
  return { block, kind: p.kind, seed: p.seed, ...(p.programme ? { programme: p.programme } : {}), ...(p.stops === undefined ? {} : { stops: p.stops }) };
}

/** A whole number of 0 and more, or null. */
export function whole(text: string | undefined): number | null {
  return text !== undefined && /^\d{1,16}$/.test(text.trim()) ? Number(text) : null;
}

export function newSeed(): number {
  return crypto.getRandomValues(new Uint32Array(1))[0]! % shortSeed;
}
