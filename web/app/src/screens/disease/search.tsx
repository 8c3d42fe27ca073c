import { useEffect, useState } from "preact/hooks";
import { holds, ringAround } from "../../geo/ringaround";
import type { Geometry, Position } from "../../geo/position";
import type { Stored } from "../../model/kinds";
import { Choice } from "../../ui/form";
import { useText, useUnits } from "../../ui/hooks";
import { Caution } from "../../ui/notes";
import { length, metresPerFoot } from "../../units";
import type { PlaceProps } from "../place";

// Distances within which guidance has wild brambles looked for: 500, 600 and 1,000 ft.
const distancesFt = [500, 600, 1000] as const;

/** Wild brambles round the finds, and a ring to search within, drawn to scale. */
export function Search(props: { readonly map: PlaceProps["map"]; readonly places: readonly Position[]; readonly wild: readonly Stored<"surroundings">[] }) {
  const t = useText();
  const system = useUnits();
  const { map, places, wild } = props;
  const [ft, setFt] = useState("");
  const ring = ft ? ringAround(places, Number(ft) * metresPerFoot) : null;
  const drawn = JSON.stringify(ring);
  useEffect(() => {
    if (!ring) return;
    map.setOverlay("disease-search", [{ geometry: ring }], "search-ring");
    // Its words stand at its northern end, where no block covers them.
    const north = ring.coordinates[0]!.reduce((a, b) => (b[1]! > a[1]! ? b : a));
    const label = t("disease-search-label", { distance: length(Number(ft) * metresPerFoot) });
    map.setOverlay("disease-search-words", [{ geometry: { type: "Point", coordinates: north }, label }], "words");
    map.fit([ring]);
    return () => {
      map.setOverlay("disease-search", null);
      map.setOverlay("disease-search-words", null);
    };
  }, [map, drawn, t, system]);
  const inside = ring ? wild.filter((w) => cornersOf(w.feature.geometry).some((p) => holds(ring, p))) : [];
  const names = (list: typeof wild) => list.map((w) => w.feature.properties.name || t("disease-wild-unnamed")).join(", ");
  return (
    <details>
      <summary>{t("disease-search")}</summary>
      <p>{wild.length === 0 ? t("disease-wild-none") : t("disease-wild-drawn", { names: names(wild) })}</p>
      {places.length === 0 ? (
        <p>{t("disease-search-nothing")}</p>
      ) : (
        <Choice
          label={t("disease-search-distance")}
          hint={t("disease-search-hint")}
          value={ft}
          empty={t("disease-search-off")}
          choices={distancesFt.map((d) => ({ value: String(d), label: length(d * metresPerFoot) }))}
          onValue={setFt}
        />
      )}
      {ring && wild.length > 0 && <p>{inside.length > 0 ? t("disease-wild-inside", { names: names(inside) }) : t("disease-wild-outside")}</p>}
      {ring && <p>{t("disease-search-neighbour")}</p>}
      <Caution>{t("disease-caution-9")}</Caution>
    </details>
  );
}

function cornersOf(g: Geometry): Position[] {
  switch (g.type) {
    case "Point":
      return [g.coordinates];
    case "LineString":
    case "MultiPoint":
      return [...g.coordinates];
    case "Polygon":
    case "MultiLineString":
      return g.coordinates.flat();
    case "MultiPolygon":
      return g.coordinates.flat(2);
    default:
      return g.geometries.flatMap(cornersOf);
  }
}
