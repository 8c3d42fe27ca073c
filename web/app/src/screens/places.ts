import { enter } from "../i18n";
import type { Area } from "../i18n/area";
import type { PlaceName } from "../model/address";
import type { Place } from "./place";

interface Loaded {
  readonly place: Place;
  readonly texts: readonly Area<string>[];
}

// Each place comes as a file of its own, so that the first screen on a slow
// network waits for no other. Crops, causes of finds and states of passes are
// named in the texts of Ground, Walk and Pass, wherever they show.
const loaders: Record<PlaceName, () => Promise<Loaded>> = {
  ground: async () => {
    const [{ ground: place }, texts] = await Promise.all([import("./ground"), import("../i18n/ground")]);
    return { place, texts: [texts.ground] };
  },
  walk: async () => {
    const [{ walk: place }, texts, plan] = await Promise.all([import("./walk"), import("../i18n/walk"), import("../i18n/scoutplan")]);
    return { place, texts: [texts.walk, plan.scoutplan] };
  },
  disease: async () => {
    const [{ disease: place }, texts, samples, removals, walk] = await Promise.all([
      import("./disease"),
      import("../i18n/disease"),
      import("../i18n/samples"),
      import("../i18n/removals"),
      import("../i18n/walk"),
    ]);
    return { place, texts: [texts.disease, samples.samples, removals.removals, walk.walk] };
  },
  pass: async () => {
    const [{ pass: place }, texts, mayi, label] = await Promise.all([import("./pass"), import("../i18n/pass"), import("../i18n/mayi"), import("../i18n/label")]);
    return { place, texts: [texts.pass, mayi.mayi, label.label] };
  },
  papers: async () => {
    const [{ papers: place }, texts, ground, walk, pass, plan, keep, mayi, people] = await Promise.all([
      import("./papers"),
      import("../i18n/papers"),
      import("../i18n/ground"),
      import("../i18n/walk"),
      import("../i18n/pass"),
      import("../i18n/scoutplan"),
      import("../i18n/keep"),
      import("../i18n/mayi"),
      import("../i18n/people"),
    ]);
    return { place, texts: [texts.papers, ground.ground, walk.walk, pass.pass, plan.scoutplan, keep.keep, mayi.mayi, people.people] };
  },
};

const loaded = new Map<PlaceName, Place>();

/** The place, if it is here already. */
export function placeNow(name: PlaceName): Place | undefined {
  return loaded.get(name);
}

/** Fetches a place with its texts. */
export async function loadPlace(name: PlaceName): Promise<Place> {
  const here = loaded.get(name);
  if (here) return here;
  const { place, texts } = await loaders[name]();
  for (const t of texts) enter(t);
  loaded.set(name, place);
  return place;
}
