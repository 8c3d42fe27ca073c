import type { Stored } from "../model/kinds";

/** The outline's area as the server measured it, m2; null when it did not say. */
export function outlineM2(block: Stored<"blocks">): number | null {
  for (const holder of [block.extra["figures"], block.extra["areas"], block.extra]) {
    if (typeof holder !== "object" || holder === null) continue;
    const m2 = (holder as Record<string, unknown>)["outline_m2"];
    if (typeof m2 === "number") return m2;
  }
  return null;
}
