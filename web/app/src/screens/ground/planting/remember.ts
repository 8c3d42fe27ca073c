import type { PlantingForm } from "./spec";

const key = (farm: string, block: string) => `caneward.planting.${farm}.${block}`;

/** What of a form is no property of the block and still wanted the next time. */
const keptFields = ["way", "line", "guide", "headland_m", "side_margin_m", "alley_every", "alley_m", "post_spacing_m", "spare_percent", "wires", "lines_per_row", "band_width_m", "skip"] as const;

/** Keeps what was tried on a block; a full or forbidden storage only loses the convenience. */
export function remember(farm: string, block: string, form: PlantingForm): void {
  const kept = Object.fromEntries(keptFields.flatMap((k) => (form[k] === undefined ? [] : [[k, form[k]]])));
  try {
    localStorage.setItem(key(farm, block), JSON.stringify(kept));
  } catch {
    return;
  }
}

/** What was last tried on a block; what cannot be read counts as nothing. */
export function recall(farm: string, block: string): Partial<PlantingForm> {
  try {
    const kept: unknown = JSON.parse(localStorage.getItem(key(farm, block)) ?? "null");
    return typeof kept === "object" && kept !== null && !Array.isArray(kept) ? kept : {};
  } catch {
    return {};
  }
}
