/** The year of a day or instant, in a zone; null when it says none. */
export function yearOf(value: string | undefined, zone: string): string | null {
  if (!value) return null;
  const bare = /^(\d{4})-\d{2}-\d{2}$/.exec(value);
  if (bare) return bare[1]!;
  const at = new Date(value);
  if (Number.isNaN(at.getTime())) return null;
  return new Intl.DateTimeFormat("en-US", { year: "numeric", timeZone: zone }).format(at);
}

/** Whether a day or instant falls in the season, a year; without a season, and without a day, it does. */
export function inSeason(value: string | undefined, season: string | undefined, zone: string): boolean {
  if (!season) return true;
  const year = yearOf(value, zone);
  return year === null || year === season;
}
