import type { Stored } from "../../model/kinds";

/** A day on which something was found, looked at or taken out, and the moment it ended there. */
export interface Day {
  readonly day: string;
  /** RFC 3339, in the zone the day's records were written in. */
  readonly end: string;
}

export interface Happened {
  readonly finds: readonly Stored<"finds">[];
  readonly visits: readonly Stored<"visits">[];
  readonly removals: readonly Stored<"removals">[];
}

const zoneOf = (moment: string) => /(Z|[+-]\d\d:\d\d)$/.exec(moment)?.[1] ?? "Z";
const dayOf = (moment: string) => moment.slice(0, 10);

/** The days of what happened, earliest first, each once. */
export function daysOf({ finds, visits, removals }: Happened): Day[] {
  const ends = new Map<string, string>();
  const take = (moment: string | undefined) => {
    if (!moment) return;
    const day = dayOf(moment);
    const end = `${day}T23:59:59${zoneOf(moment)}`;
    // A day without a zone, such as a removal's, ends where the others do.
    if (!ends.has(day) || moment.length > 10) ends.set(day, end);
  };
  for (const r of removals) take(r.feature.properties.done_on);
  for (const v of visits) take(v.feature.properties.started_at);
  for (const f of finds) take(f.feature.properties.found_at);
  return [...ends].map(([day, end]) => ({ day, end })).sort((a, b) => a.day.localeCompare(b.day));
}

/** What had happened by the end of a day; all of it without one. */
export function upTo<H extends Happened>(happened: H, day: string | undefined): Happened {
  if (!day) return happened;
  const by = (moment: string | undefined) => moment !== undefined && dayOf(moment) <= day;
  return {
    finds: happened.finds.filter((f) => by(f.feature.properties.found_at)),
    visits: happened.visits.filter((v) => by(v.feature.properties.started_at)),
    removals: happened.removals.filter((r) => by(r.feature.properties.done_on)),
  };
}
