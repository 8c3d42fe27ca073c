import { useCallback, useEffect, useState } from "preact/hooks";
import { enter } from "../../../i18n";
import type { Stored } from "../../../model/kinds";
import { useText } from "../../../ui/hooks";
import { ProblemNote } from "../../../ui/notes";
import type { PlaceProps } from "../../place";
import type { OutlineEffect, OutlineEffectProps } from "./outlineeffect";
import type { PlantsSheet } from "./plants";
import type { RowsSheet } from "./planting";

interface Sheets {
  readonly rows: typeof RowsSheet;
  readonly plants: typeof PlantsSheet;
  readonly outline: typeof OutlineEffect;
}

let here: Sheets | null = null;

// Laying out rows and marking plants come when they are asked for. Causes of
// finds are named in the texts of Walk, cautions of removals in those of Disease,
// long tables in those of Papers.
async function fetchSheets(): Promise<void> {
  const [rows, plants, outline, planting, ofPlants, walk, disease, papers] = await Promise.all([
    import("./planting"),
    import("./plants"),
    import("./outlineeffect"),
    import("../../../i18n/planting"),
    import("../../../i18n/plants"),
    import("../../../i18n/walk"),
    import("../../../i18n/disease"),
    import("../../../i18n/papers"),
  ]);
  for (const texts of [planting.planting, ofPlants.plants, walk.walk, disease.disease, papers.papers]) enter(texts);
  here = { rows: rows.RowsSheet, plants: plants.PlantsSheet, outline: outline.OutlineEffect };
}

/** The screens once they are here, or what stands in their stead. */
function useSheets(): { sheets: Sheets | null; failure: unknown; load: () => void } {
  const [failure, setFailure] = useState<unknown>(null);
  const [, redraw] = useState(0);
  const load = useCallback(() => {
    setFailure(null);
    fetchSheets().then(() => redraw((n) => n + 1), setFailure);
  }, []);
  useEffect(() => {
    if (!here) load();
  }, [load]);
  return { sheets: here, failure, load };
}

/** The screen that lays out a block's rows, or the one that marks its plants, once it is here. */
export function PlantingLater({ sheet, ...props }: PlaceProps & { readonly sheet: "rows" | "plants"; readonly block: Stored<"blocks"> }) {
  const t = useText();
  const { sheets, failure, load } = useSheets();
  const Here = sheets?.[sheet];
  if (Here) return <Here {...props} />;
  return failure ? <ProblemNote problem={failure} onRetry={load} /> : <p>{t("core-loading")}</p>;
}

/** What an edited outline does to the rows, once the screen is here. */
export function OutlineEffectLater(props: OutlineEffectProps) {
  const { sheets, failure, load } = useSheets();
  if (sheets) return <sheets.outline {...props} />;
  return failure ? <ProblemNote problem={failure} onRetry={load} /> : null;
}
