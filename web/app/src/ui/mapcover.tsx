import { type ComponentChildren, render } from "preact";
import { useEffect, useLayoutEffect } from "preact/hooks";

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
  useEffect(
    () => () => {
      if (place) render(null, place);
    },
    [],
  );
  return null;
}
