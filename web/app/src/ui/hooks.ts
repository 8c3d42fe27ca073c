import { useEffect, useState } from "preact/hooks";
import { language, t } from "../i18n";
import type { Farm, Records } from "../model/farm";
import type { Kind } from "../model/kinds";
import type { Signal } from "../model/signal";
import { units } from "../units";

/** The value of a signal; the component draws anew when it changes. */
export function useSignal<T>(of: Signal<T>): T {
  const [, redraw] = useState(0);
  const value = of.get();
  useEffect(() => {
    // It may have been set between drawing and listening.
    if (of.get() !== value) redraw((n) => n + 1);
  }, [of, value]);
  useEffect(() => of.listen(() => redraw((n) => n + 1)), [of]);
  return value;
}

/** The catalogue in the chosen language; the component draws anew when it changes. */
export function useText(): typeof t {
  useSignal(language);
  return t;
}

/** Draws anew when the units change; the formatters of units/ read them by themselves. */
export function useUnits() {
  return useSignal(units);
}

/** The records of a kind, fetched the first time they are asked for. */
export function useRecords<K extends Kind>(farm: Farm, kind: K): Records<K> {
  useEffect(() => {
    void farm.load(kind);
  }, [farm, kind]);
  return useSignal(farm.records(kind));
}
