export const placeNames = ["ground", "walk", "disease", "pass", "papers"] as const;
export type PlaceName = (typeof placeNames)[number];

/** What a link carries, so that a colleague opens what you see. */
export interface Address {
  readonly farm: string | undefined;
  readonly place: PlaceName;
  /** Id of the chosen block. */
  readonly block: string | undefined;
  /** Year. */
  readonly season: string | undefined;
  /** The place's own state. */
  readonly view: string | undefined;
}

/** Reads /go/{farm}/{place}?block=&season=&view=; what is missing or unknown becomes the first place of no farm. */
export function readAddress(path: string, search: string): Address {
  const [, go, farm, place] = path.split("/");
  const query = new URLSearchParams(search);
  return {
    farm: go === "go" && farm ? decode(farm) : undefined,
    place: placeNames.find((p) => p === place) ?? "ground",
    block: query.get("block") || undefined,
    season: query.get("season") || undefined,
    view: query.get("view") || undefined,
  };
}

// A broken escape in a typed address is a farm nobody has, not a broken page.
function decode(part: string): string {
  try {
    return decodeURIComponent(part);
  } catch {
    return part;
  }
}

/** The path and query of an address. */
export function writeAddress(a: Address): string {
  if (!a.farm) return "/";
  const query = new URLSearchParams();
  for (const key of ["block", "season", "view"] as const) {
    const value = a[key];
    if (value) query.set(key, value);
  }
  const text = query.toString();
  return `/go/${encodeURIComponent(a.farm)}/${a.place}${text ? `?${text}` : ""}`;
}
