import type { Count } from "../../model/kinds";
import type { Tally } from "./weigh";

// What is counted and not kept yet stands beside the page, so that a closed tab
// or an empty battery costs no count.
const keyOf = (farm: string, visit: string) => `caneward.walk.counts.${farm}.${visit}`;

type Tallies = Readonly<Record<string, Tally>>;

const whole = (v: unknown): v is number => typeof v === "number" && Number.isInteger(v) && v >= 0;

export function tallies(farm: string, visit: string): Tallies {
  try {
    const got = JSON.parse(localStorage.getItem(keyOf(farm, visit)) ?? "{}") as Record<string, Partial<Tally>> | null;
    const all: Record<string, Tally> = {};
    for (const [id, t] of Object.entries(got ?? {})) if (whole(t?.n) && whole(t?.hits)) all[id] = { n: t.n, hits: t.hits, ...(t.several === true ? { several: true } : {}) };
    return all;
  } catch {
    return {};
  }
}

/** Keeps what is counted of one programme; null when it stands in the visit. False where the browser takes nothing. */
export function keepTally(farm: string, visit: string, programme: string, tally: Tally | null): boolean {
  const { [programme]: _, ...others } = tallies(farm, visit);
  try {
    localStorage.setItem(keyOf(farm, visit), JSON.stringify(tally ? { ...others, [programme]: tally } : others));
    return true;
  } catch {
    return false;
  }
}

export function forgetTallies(farm: string, visit: string): void {
  try {
    localStorage.removeItem(keyOf(farm, visit));
  } catch {
    return;
  }
}

/** A visit's counts with one of them as it is now. */
export function withCount(counts: readonly Count[] | undefined, what: string, { n, hits, several }: Tally): Count[] {
  const others = (counts ?? []).filter((c) => c.what !== what);
  return n > 0 ? [...others, { what, sampled: n, hits, ...(several ? { several } : {}) }] : others;
}

/** The visit's counts with those that were not kept one by one. */
export function allCounts(farm: string, visit: string, counts: readonly Count[] | undefined): { counts?: Count[] } {
  let all = [...(counts ?? [])];
  for (const [id, tally] of Object.entries(tallies(farm, visit))) all = withCount(all, id, tally);
  return all.length > 0 ? { counts: all } : {};
}
