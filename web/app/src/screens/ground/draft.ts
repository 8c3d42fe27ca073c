import type { BlockProperties, OutlineFollows, PlantEnd, RowSide, Stored } from "../../model/kinds";

/** A block as a form holds it. Lengths in metres; NaN stands for what was typed and is no number. */
export interface BlockForm {
  readonly name: string;
  readonly crop: string;
  readonly cultivar: string;
  readonly planted_on: string;
  readonly outline_follows: OutlineFollows | "";
  readonly row_spacing_m: number | undefined;
  readonly plant_spacing_m: number | undefined;
  readonly row_bearing_deg: number | undefined;
  readonly first_row_side: RowSide | "";
  readonly first_plant_end: PlantEnd | "";
}

export const emptyForm: BlockForm = {
  name: "",
  crop: "",
  cultivar: "",
  planted_on: "",
  outline_follows: "",
  row_spacing_m: undefined,
  plant_spacing_m: undefined,
  row_bearing_deg: undefined,
  first_row_side: "",
  first_plant_end: "",
};

export function formOf(p: BlockProperties): BlockForm {
  const known = Object.fromEntries(Object.keys(emptyForm).flatMap((k) => (k in p ? [[k, p[k as keyof BlockProperties]]] : [])));
  return { ...emptyForm, ...known };
}

/** A new block starts with what the newest one says about planting, but not with its name or its ground. */
export function startFrom(blocks: readonly Stored<"blocks">[]): BlockForm {
  const newest = blocks.reduce<Stored<"blocks"> | null>((a, b) => (!a || b.id > a.id ? b : a), null);
  if (!newest) return emptyForm;
  return { ...formOf(newest.feature.properties), name: "", planted_on: "" };
}

const numbers = ["row_spacing_m", "plant_spacing_m", "row_bearing_deg"] as const;

/** The fields whose figures cannot be read. */
export function unreadable(form: BlockForm): readonly (typeof numbers)[number][] {
  return numbers.filter((k) => Number.isNaN(form[k]));
}

/** The properties to store: what the form says over what stood there, so that unknown ones stay; emptied ones go. */
export function propertiesOf(form: BlockForm, before: BlockProperties | undefined): BlockProperties {
  const out: Record<string, unknown> = { ...before };
  for (const [key, value] of Object.entries(form)) {
    const kept = typeof value === "string" ? value.trim() : value;
    if (kept === "" || kept === undefined) delete out[key];
    else out[key] = kept;
  }
  return out as unknown as BlockProperties;
}
