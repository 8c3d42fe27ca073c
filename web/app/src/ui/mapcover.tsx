import { type ComponentChildren, render } from "preact";
import { useEffect } from "preact/hooks";

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
  useEffect(() => {
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
