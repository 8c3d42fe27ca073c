import { useCallback, useEffect, useState } from "preact/hooks";
import { enter } from "../../../i18n";
import { useText } from "../../../ui/hooks";
import { ProblemNote } from "../../../ui/notes";
import type { PlaceProps } from "../../place";
import type { ImportSheet } from "../importer";
import type { WalkRound } from "../walkround";

interface Sheets {
  readonly file: typeof ImportSheet;
  readonly round: typeof WalkRound;
}

let here: Sheets | null = null;

// Few visits to Ground bring in a file or walk round a block: these screens come
// when they are asked for, both at once, since a walk leads to the other far out
// in a field. Causes of finds are named in the texts of Walk.
async function fetchSheet(): Promise<void> {
  const [file, round, texts, walk] = await Promise.all([import("../importer"), import("../walkround"), import("../../../i18n/imports"), import("../../../i18n/walk")]);
  enter(texts.imports);
  enter(walk.walk);
  here = { file: file.ImportSheet, round: round.WalkRound };
}

/** The screen that brings in a file, or the one that makes an outline of a walk, once it is here. */
export function ImportLater({ sheet, ...props }: PlaceProps & { readonly sheet: keyof Sheets }) {
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
  const Here = here?.[sheet];
  if (Here) return <Here {...props} />;
  return failure ? <ProblemNote problem={failure} onRetry={load} /> : <p>{t("core-loading")}</p>;
}
