import { useCallback, useEffect, useState } from "preact/hooks";
import { enter } from "../../i18n";
import type { PlantAt, Stored } from "../../model/kinds";
import type { useBlockPlants } from "../../rowmap/blockplants";
import type { RowMap } from "../../rowmap/rowmap";
import { useText } from "../../ui/hooks";
import { MapCover } from "../../ui/mapcover";
import { ProblemNote } from "../../ui/notes";
import type { PlaceProps } from "../place";

interface Parts {
  readonly Map: typeof RowMap;
  readonly usePlants: typeof useBlockPlants;
}

let here: Parts | null = null;

// The picture comes when it is asked for: most finds are entered by the steppers.
async function fetchParts(): Promise<void> {
  const [map, plants, texts] = await Promise.all([import("../../rowmap/rowmap"), import("../../rowmap/blockplants"), import("../../i18n/plants")]);
  enter(texts.plants);
  here = { Map: map.RowMap, usePlants: plants.useBlockPlants };
}

export interface PickPlantProps {
  readonly farm: PlaceProps["farm"];
  readonly block: Stored<"blocks">;
  readonly at: PlantAt;
  readonly onAt: (at: PlantAt) => void;
}

/** The block as rows by plants, where the map stands, to choose a plant on. */
export function PickPlant(props: PickPlantProps) {
  // What is chosen here is saved with the find: it is no mark waiting to be saved.
  return <RowsPicture {...props} drafted={none} />;
}

const none: ReadonlySet<number> = new Set();

/** The same with some plants marked, and what is said of those. */
export function RowsPicture(props: Omit<PickPlantProps, "at"> & { at: PlantAt | null; drafted: ReadonlySet<number>; draftedSays?: string }) {
  const t = useText();
  const [failure, setFailure] = useState<unknown>(null);
  const [, redraw] = useState(0);
  const load = useCallback(() => {
    setFailure(null);
    fetchParts().then(() => redraw((n) => n + 1), setFailure);
  }, []);
  useEffect(() => {
    if (!here) load();
  }, [load]);
  if (here) return <Picked {...props} parts={here} />;
  return failure ? <ProblemNote problem={failure} onRetry={load} /> : <p>{t("core-loading")}</p>;
}

function Picked({ farm, block, at, onAt, drafted, draftedSays, parts }: Parameters<typeof RowsPicture>[0] & { parts: Parts }) {
  const { picture, marks } = parts.usePlants(farm, block, () => true);
  const [northUp, setNorthUp] = useState(false);
  return (
    <MapCover>
      <parts.Map
        picture={picture}
        marks={marks}
        name={block.feature.properties.name}
        cursor={at}
        onCursor={onAt}
        onTake={onAt}
        drafted={drafted}
        draftedSays={draftedSays}
        northUp={northUp}
        onNorthUp={setNorthUp}
      />
    </MapCover>
  );
}
