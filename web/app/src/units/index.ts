import { locale } from "../i18n";
import { kept, type Signal } from "../model/signal";

export const systems = ["us", "metric"] as const;
export type System = (typeof systems)[number];

/** What figures are shown in, kept on the device. Nothing is ever stored in it. */
export const units: Signal<System> = kept("caneward.units", systems, "us");

// Exact by definition: the international foot of 1959 (85 FR 62698 retires the
// US survey foot), the acre of 43,560 square feet, the US gallon of 231 cubic
// inches, the pound of 0.45359237 kg.
export const metresPerFoot = 0.3048;
export const squareMetresPerAcre = 43_560 * metresPerFoot ** 2;
export const squareMetresPerHectare = 10_000;
export const litresPerGallon = 231 * 0.0254 ** 3 * 1000;
export const litresPerFluidOunce = litresPerGallon / 128;
export const kilogramsPerPound = 0.45359237;

// A figure that binary floating point puts a hair under a whole foot, such as
// 100 ft stored as 30.48 m, is that foot: 1e-6 ft is a third of a micrometre.
const wholeFootSlack = 1e-6;

function fixed(value: number, digits: number): string {
  return new Intl.NumberFormat(locale(), {
    minimumFractionDigits: digits,
    maximumFractionDigits: digits,
  }).format(value);
}

/** Ground, from m2: 0.01 acre, 0.001 below one acre (the same digits in hectares). */
export function area(m2: number, system: System = units.get()): string {
  const value = system === "us" ? m2 / squareMetresPerAcre : m2 / squareMetresPerHectare;
  return `${fixed(value, Math.abs(value) < 1 ? 3 : 2)} ${system === "us" ? "ac" : "ha"}`;
}

// Below this a figure in acres or hectares keeps no digit worth reading.
const smallGround = 400;

/** A piece of ground or a difference, from m2: square feet or square metres where it is small. */
export function patch(m2: number, system: System = units.get()): string {
  if (Math.abs(m2) >= smallGround) return area(m2, system);
  const value = system === "us" ? m2 / metresPerFoot ** 2 : m2;
  return `${fixed(value, Math.abs(value) < 10 ? 1 : 0)} ${system === "us" ? "ft²" : "m²"}`;
}

/** How much ground is added or lost, from m2, always with its sign. */
export function areaChange(m2: number, system: System = units.get()): string {
  return `${m2 < 0 ? "−" : "+"}${patch(Math.abs(m2), system)}`;
}

/** A length, from m, to the whole foot or the tenth of a metre. */
export function length(m: number, system: System = units.get()): string {
  return system === "us" ? `${fixed(m / metresPerFoot, 0)} ft` : `${fixed(m, 1)} m`;
}

/** A clearance, from m, rounded DOWN to the whole foot or tenth of a metre: a distance to water is never made longer. */
export function clearance(m: number, system: System = units.get()): string {
  if (system === "us") return `${fixed(Math.floor(m / metresPerFoot + wholeFootSlack), 0)} ft`;
  return `${fixed(Math.floor(m * 10 + wholeFootSlack) / 10, 1)} m`;
}

/** A spacing or band, from m: 0.1 ft or 0.01 m. */
export function spacing(m: number, system: System = units.get()): string {
  return system === "us" ? `${fixed(m / metresPerFoot, 1)} ft` : `${fixed(m, 2)} m`;
}

/** A liquid, from litres: gallons to 0.1, fluid ounces below one gallon. */
export function volume(litres: number, system: System = units.get()): string {
  if (system === "metric") return litres < 1 ? `${fixed(litres * 1000, 0)} mL` : `${fixed(litres, 1)} L`;
  if (Math.abs(litres) < litresPerGallon) return `${fixed(litres / litresPerFluidOunce, 1)} fl oz`;
  return `${fixed(litres / litresPerGallon, 1)} gal`;
}

/** A weight, from kilograms. */
export function weight(kg: number, system: System = units.get()): string {
  if (system === "metric") return Math.abs(kg) < 1 ? `${fixed(kg * 1000, 0)} g` : `${fixed(kg, 2)} kg`;
  if (Math.abs(kg) < kilogramsPerPound) return `${fixed((kg / kilogramsPerPound) * 16, 1)} oz (weight)`;
  return `${fixed(kg / kilogramsPerPound, 2)} lb`;
}

/** Degrees clockwise from true north. */
export function bearing(deg: number): string {
  return `${fixed(((deg % 360) + 360) % 360, 1)}°`;
}

/** A share with its sample: 12.5 % (5 of 40). */
export function share(hits: number, of: number): string {
  return of > 0 ? `${fixed((100 * hits) / of, 1)} % (${hits}/${of})` : `${hits}/${of}`;
}

// Names of the units as they travel.
const amountNames: Record<string, string> = {
  fl_oz: "fl oz",
  oz_wt: "oz (weight)",
  gal: "gal",
  qt: "qt",
  pt: "pt",
  lb: "lb",
  ml: "mL",
  l: "L",
  g: "g",
  kg: "kg",
};

/** An amount as the label says it; the unit stays the label's whatever the toggle says. */
export function amount(a: { value: number; unit: string }, digits = 2): string {
  const value = new Intl.NumberFormat(locale(), { maximumFractionDigits: digits }).format(a.value);
  return `${value} ${amountNames[a.unit.toLowerCase()] ?? a.unit.replaceAll("_", " ")}`;
}

/** The unit a length is typed in, and metres to one of it. */
export function typedLength(system: System = units.get()): { unit: "ft" | "m"; metres: number } {
  return system === "us" ? { unit: "ft", metres: metresPerFoot } : { unit: "m", metres: 1 };
}
