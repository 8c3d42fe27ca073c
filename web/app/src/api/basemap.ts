import type { BaseMap } from "../map/farmmap";
import type { Net } from "./client";

interface Answer {
  readonly kind: "none" | "file" | "server";
  readonly tiles?: string;
  readonly min_zoom?: number;
  readonly max_zoom?: number;
  readonly attribution?: string;
}

/** The base map this server offers; null when it has none. */
export async function readBaseMap(net: Net): Promise<BaseMap | null> {
  const a = await net.json<Answer>("/base");
  if (a.kind === "none" || !a.tiles) return null;
  return { url: a.tiles, minZoom: a.min_zoom, maxZoom: a.max_zoom, attribution: a.attribution };
}
