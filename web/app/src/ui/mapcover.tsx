import { type ComponentChildren, render } from "preact";
import { useEffect, useLayoutEffect } from "preact/hooks";
import { signal } from "../model/signal";

/** Whether a picture stands over the map; the phone then shows both. */
export const mapCoverUsed = signal(false);

let place: HTMLElement | null = null;

/** Where a picture stands in the map's stead. The frame draws it once. */
export function MapCoverPlace() {
  return (
    <div
      class="map-cover"
      ref={(el) => {
        place = el;
      }}
    />
  );
}

/** Puts its children over the map while it is drawn; the map under it cannot be reached. */
export function MapCover({ children }: { children: ComponentChildren }) {
  // At once: the next key of a quick hand goes by what this one led to.
  useLayoutEffect(() => {
    if (place) render(<>{children}</>, place);
  });
  useEffect(() => {
    mapCoverUsed.set(true);
    return () => {
      mapCoverUsed.set(false);
      if (place) render(null, place);
    };
  }, []);
  return null;
}
