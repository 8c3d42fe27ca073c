import { useCallback, useEffect, useState } from "preact/hooks";
import { enter } from "../../../i18n";
import type { Stored } from "../../../model/kinds";
import { useText } from "../../../ui/hooks";
import { ProblemNote } from "../../../ui/notes";
import type { PlaceProps } from "../../place";
import type { PlantsSheet } from "./plants";
import type { RowsSheet } from "./planting";

interface Sheets {
  readonly rows: typeof RowsSheet;
  readonly plants: typeof PlantsSheet;
}

let here: Sheets | null = null;

// Laying out rows and marking plants come when they are asked for. Causes of
// finds are named in the texts of Walk, cautions of removals in those of Disease,
// long tables in those of Papers.
async function fetchSheets(): Promise<void> {
  const [rows, plants, planting, ofPlants, walk, disease, papers] = await Promise.all([
    import("./planting"),
    import("./plants"),
    import("../../../i18n/planting"),
    import("../../../i18n/plants"),
    import("../../../i18n/walk"),
    import("../../../i18n/disease"),
    import("../../../i18n/papers"),
  ]);
  for (const texts of [planting.planting, ofPlants.plants, walk.walk, disease.disease, papers.papers]) enter(texts);
  here = { rows: rows.RowsSheet, plants: plants.PlantsSheet };
}

/** The screen that lays out a block's rows, or the one that marks its plants, once it is here. */
export function PlantingLater({ sheet, ...props }: PlaceProps & { readonly sheet: keyof Sheets; readonly block: Stored<"blocks"> }) {
  const t = useText();
  const [failure, setFailure] = useState<unknown>(null);
  const [, redraw] = useState(0);
  const load = useCallback(() => {
    setFailure(null);
    fetchSheets().then(() => redraw((n) => n + 1), setFailure);
  }, []);
  useEffect(() => {
    if (!here) load();
  }, [load]);
  const Here = here?.[sheet];
  if (Here) return <Here {...props} />;
  return failure ? <ProblemNote problem={failure} onRetry={load} /> : <p>{t("core-loading")}</p>;
}
