import { useCallback, useEffect, useState } from "preact/hooks";
import { enter } from "../../../i18n";
import { useText } from "../../../ui/hooks";
import { ProblemNote } from "../../../ui/notes";
import type { PlaceProps } from "../../place";
import type { ImportSheet } from "../importer";

let here: typeof ImportSheet | null = null;

// Few visits to Ground bring in a file: its screen comes when it is asked for.
// Causes of finds are named in the texts of Walk.
async function fetchSheet(): Promise<void> {
  const [sheet, texts, walk] = await Promise.all([import("../importer"), import("../../../i18n/imports"), import("../../../i18n/walk")]);
  enter(texts.imports);
  enter(walk.walk);
  here = sheet.ImportSheet;
}

/** The screen that brings in a file, once it is here. */
export function ImportLater(props: PlaceProps) {
  const t = useText();
  const [failure, setFailure] = useState<unknown>(null);
  const [, redraw] = useState(0);
  const load = useCallback(() => {
    setFailure(null);
    fetchSheet().then(() => redraw((n) => n + 1), setFailure);
  }, []);
  useEffect(() => {
    if (!here) load();
  }, [load]);
  const Here = here;
  if (Here) return <Here {...props} />;
  return failure ? <ProblemNote problem={failure} onRetry={load} /> : <p>{t("core-loading")}</p>;
}
