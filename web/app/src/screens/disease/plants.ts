import type { PlantAt } from "../../model/kinds";
import type { Stretch } from "../../rowmap/rowplace";

export type ReadPlants =
  | { readonly ok: true; readonly plants: PlantAt[] }
  | { readonly ok: false; readonly word: string };

// More plants than any row has; keeps a slip of the finger from filling the memory.
const mostPlants = 20_000;

/** Reads "4:35, 4:38-44" as plants, each once, in walking order; or the first word that cannot be read. */
export function readPlants(text: string): ReadPlants {
  const seen = new Map<string, PlantAt>();
  for (const word of text.split(/[,;\n]+/).map((w) => w.trim()).filter(Boolean)) {
    const m = /^(\d{1,6})\s*:\s*(\d{1,6})(?:\s*[-–]\s*(\d{1,6}))?$/.exec(word);
    const row = Number(m?.[1]);
    const from = Number(m?.[2]);
    const to = Number(m?.[3] ?? m?.[2]);
    if (!m || row < 1 || from < 1 || to < from || seen.size + to - from > mostPlants) return { ok: false, word };
    for (let plant = from; plant <= to; plant++) seen.set(`${row}-${plant}`, { row, plant });
  }
  return { ok: true, plants: [...seen.values()].sort((a, b) => a.row - b.row || a.plant - b.plant) };
}

/** The text that readPlants reads back. */
export function writePlants(stretches: readonly Stretch[]): string {
  return stretches.map((s) => (s.from === s.to ? `${s.row}:${s.from}` : `${s.row}:${s.from}-${s.to}`)).join(", ");
}
