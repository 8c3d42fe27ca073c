import type { PlantingAsk } from "../../../api/planting";
import type { LineString, MultiPolygon, Polygon, Position } from "../../../geo/position";
import type { BlockProperties, PlantEnd, RowSide } from "../../../model/kinds";
import { stepM } from "../../../rowmap/rowplace";

export const ways = ["longest-side", "typed", "line", "guide"] as const;
/** Where the rows' way comes from. */
export type Way = (typeof ways)[number];

/** What the planting screen holds. Lengths m; NaN stands for what was typed and is no number. */
export interface PlantingForm {
  readonly row_spacing_m: number | undefined;
  readonly plant_spacing_m: number | undefined;
  readonly way: Way;
  readonly bearing_deg: number | undefined;
  readonly line: LineString | null;
  readonly guide: LineString | null;
  readonly headland_m: number | undefined;
  readonly side_margin_m: number | undefined;
  readonly alley_every: number | undefined;
  readonly alley_m: number | undefined;
  readonly post_spacing_m: number | undefined;
  readonly spare_percent: number | undefined;
  readonly wires: number | undefined;
  readonly lines_per_row: number | undefined;
  readonly band_width_m: number | undefined;
  readonly skip: readonly number[];
  readonly first_row_side: RowSide | "";
  readonly first_plant_end: PlantEnd | "";
}

const figures = ["headland_m", "side_margin_m", "alley_every", "alley_m", "post_spacing_m", "spare_percent", "wires", "lines_per_row", "band_width_m"] as const;

/** What the form starts with: what the block says, and what was last tried on it. */
export function startOf(p: BlockProperties, last: Partial<PlantingForm>): PlantingForm {
  const form: PlantingForm = {
    row_spacing_m: undefined,
    plant_spacing_m: undefined,
    way: p.row_bearing_deg === undefined ? "longest-side" : "typed",
    line: null,
    guide: null,
    headland_m: undefined,
    side_margin_m: undefined,
    alley_every: undefined,
    alley_m: undefined,
    post_spacing_m: undefined,
    spare_percent: undefined,
    wires: undefined,
    lines_per_row: undefined,
    band_width_m: undefined,
    skip: [],
    ...last,
    bearing_deg: p.row_bearing_deg,
    first_row_side: p.first_row_side ?? "",
    first_plant_end: p.first_plant_end ?? "",
  };
  return { ...form, row_spacing_m: p.row_spacing_m ?? form.row_spacing_m, plant_spacing_m: p.plant_spacing_m ?? form.plant_spacing_m };
}

/** The bearing from a line's first place to its last, degrees clockwise from true north, to 0.01. */
export function bearingOf(from: Position, to: Position): number {
  const [e, n] = stepM([from[0] ?? 0, from[1] ?? 0], [to[0] ?? 0, to[1] ?? 0]);
  const deg = ((Math.atan2(e, n) * 180) / Math.PI + 360) % 360;
  return Number(deg.toFixed(2)) % 360;
}

/** The bearing of an outline's longest side, from 0 to below 180. */
export function longestSide(outline: Polygon | MultiPolygon): number | null {
  const parts = outline.type === "Polygon" ? [outline.coordinates] : outline.coordinates;
  let best: [Position, Position] | null = null;
  let longest = 0;
  for (const rings of parts) {
    const shell = rings[0] ?? [];
    for (let i = 1; i < shell.length; i++) {
      const [a, b] = [shell[i - 1]!, shell[i]!];
      const m = Math.hypot(...stepM([a[0]!, a[1]!], [b[0]!, b[1]!]));
      if (m > longest) [longest, best] = [m, [a, b]];
    }
  }
  return best && bearingOf(...best) % 180;
}

/** The bearing the form means; undefined with a guide, and where nothing is drawn or typed yet. */
export function wayOf(form: PlantingForm, outline: Polygon | MultiPolygon): number | undefined {
  if (form.way === "typed") return form.bearing_deg;
  if (form.way === "longest-side") return longestSide(outline) ?? undefined;
  const { line } = form;
  return form.way === "line" && line ? bearingOf(line.coordinates[0]!, line.coordinates.at(-1)!) : undefined;
}

export type Lack = "numbers" | "spacings" | "line" | "guide" | "alley";

/** Why the form cannot be asked yet. */
export function lackOf(form: PlantingForm): Lack | null {
  const { row_spacing_m, plant_spacing_m, bearing_deg } = form;
  const typed = [row_spacing_m, plant_spacing_m, ...(form.way === "typed" ? [bearing_deg] : []), ...figures.map((k) => form[k])];
  if (typed.some((v) => Number.isNaN(v))) return "numbers";
  if (row_spacing_m === undefined || plant_spacing_m === undefined) return "spacings";
  if (form.way === "line" && !form.line) return "line";
  if (form.way === "guide" && !form.guide) return "guide";
  if ((form.alley_every === undefined) !== (form.alley_m === undefined)) return "alley";
  return null;
}

/** What is asked of the server; null while something is lacking. */
export function askOf(form: PlantingForm, block: string, outline: Polygon | MultiPolygon): PlantingAsk | null {
  const { row_spacing_m, plant_spacing_m } = form;
  if (lackOf(form) || row_spacing_m === undefined || plant_spacing_m === undefined) return null;
  const bearing_deg = wayOf(form, outline);
  return {
    block,
    row_spacing_m,
    plant_spacing_m,
    ...(bearing_deg === undefined ? {} : { bearing_deg }),
    ...(form.way === "guide" && form.guide ? { guide: form.guide } : {}),
    ...Object.fromEntries(figures.flatMap((k) => (form[k] === undefined ? [] : [[k, form[k]]]))),
    ...(form.skip.length > 0 ? { skip: form.skip } : {}),
    ...(form.first_row_side ? { first_row_side: form.first_row_side } : {}),
    ...(form.first_plant_end ? { first_plant_end: form.first_plant_end } : {}),
  };
}

/** The block with what a layout settles about its rows. */
export function blockAfter(p: BlockProperties, form: PlantingForm, outline: Polygon | MultiPolygon, answered?: number): BlockProperties {
  const bearing = wayOf(form, outline) ?? answered;
  return {
    ...p,
    ...(form.row_spacing_m === undefined ? {} : { row_spacing_m: form.row_spacing_m }),
    ...(form.plant_spacing_m === undefined ? {} : { plant_spacing_m: form.plant_spacing_m }),
    ...(bearing === undefined ? {} : { row_bearing_deg: bearing }),
    ...(form.first_row_side ? { first_row_side: form.first_row_side } : {}),
    ...(form.first_plant_end ? { first_plant_end: form.first_plant_end } : {}),
  };
}

/** Which side and end a tapped corner means, looking along the bearing; the middle decides. */
export function cornerOf(at: Position, parts: readonly (readonly Position[])[], bearingDeg: number): { first_row_side: RowSide; first_plant_end: PlantEnd } {
  const rad = (bearingDeg * Math.PI) / 180;
  const frame = (p: Position): [number, number] => {
    const [e, n] = stepM([at[0]!, at[1]!], [p[0]!, p[1]!]);
    return [e * Math.sin(rad) + n * Math.cos(rad), e * Math.cos(rad) - n * Math.sin(rad)];
  };
  const all = parts.flat().map(frame);
  const middle = (i: 0 | 1) => (Math.min(...all.map((p) => p[i])) + Math.max(...all.map((p) => p[i]))) / 2;
  // The tap is the origin: where the middle lies ahead of it, it is the near end.
  return { first_row_side: middle(1) >= 0 ? "left" : "right", first_plant_end: middle(0) >= 0 ? "start" : "end" };
}

/** Numbers of a list as typed, with a space between them: "2.4, 3 3,6". Null where one cannot be read. */
export function readList(text: string, read: (word: string) => number): number[] | null {
  const numbers = text
    .split(/[;\s]+/)
    .map((w) => w.replace(/^,|,$/g, ""))
    .filter(Boolean)
    .map(read);
  return numbers.some((n) => !Number.isFinite(n)) ? null : [...new Set(numbers)];
}
