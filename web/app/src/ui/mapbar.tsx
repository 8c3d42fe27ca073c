import { type ComponentChildren, render } from "preact";
import { useEffect } from "preact/hooks";
import { signal } from "../model/signal";

/** Whether a screen has put tools on the map; the phone then makes room for it. */
export const mapBarUsed = signal(false);

let place: HTMLElement | null = null;

/** Where tools of a drawing mode stand: over the map's lower edge, near the work. The frame draws it once. */
export function MapBarPlace() {
  return (
    <div
      class="map-bar"
      role="toolbar"
      ref={(el) => {
        place = el;
      }}
    />
  );
}

/** Puts its children on the map while it is drawn. */
export function MapBar({ children }: { children: ComponentChildren }) {
  useEffect(() => {
    if (place) render(<>{children}</>, place);
  });
  useEffect(() => {
    mapBarUsed.set(true);
    return () => {
      mapBarUsed.set(false);
      if (place) render(null, place);
    };
  }, []);
  return null;
}
