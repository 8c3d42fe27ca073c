import { useEffect } from "preact/hooks";
import type { PlannedStop, PlantAt } from "../../model/kinds";
import { useText } from "../../ui/hooks";
import type { PlaceProps } from "../place";
import "./scoutplan.css";

/** The stops a visit brought along: where to go next, with or without a signal. */
export function PlannedStops({ map, stops, at, onAt }: Pick<PlaceProps, "map"> & { stops: readonly PlannedStop[]; at: PlantAt; onAt: (at: PlantAt) => void }) {
  const t = useText();
  useEffect(() => {
    const shapes = stops.flatMap((s, i) => (s.at ? [{ geometry: { type: "Point" as const, coordinates: s.at }, label: String(i + 1) }] : []));
    map.setOverlay("walk-stops", shapes, "marked");
    return () => map.setOverlay("walk-stops", null);
  }, [map, stops]);
  return (
    <details class="planned-stops" open>
      <summary>{t("scoutplan-stops-of", { n: stops.length })}</summary>
      <ol>
        {stops.map((s, i) => (
          <li key={i}>
            <button type="button" class="big" aria-pressed={s.row === at.row && s.plant === at.plant} onClick={() => onAt({ row: s.row, plant: s.plant })}>
              {t("scoutplan-stop-at", { n: String(i + 1), row: String(s.row), plant: String(s.plant) })}
            </button>
          </li>
        ))}
      </ol>
    </details>
  );
}
