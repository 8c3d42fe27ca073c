import type { ImportKind } from "../../../api/imports";
import { named } from "../../../i18n";
import type { Farm } from "../../../model/farm";
import { causes, surroundingsKinds } from "../../../model/kinds";
import { Choice, TextField } from "../../../ui/form";
import { useRecords, useText } from "../../../ui/hooks";
import type { ForAll } from "./agree";

/** What is said once for every shape: what surroundings are, what finds look like, whose rows they are. */
export function ForAllFields({ kind, farm, all, onAll }: { kind: ImportKind; farm: Farm; all: ForAll; onAll: (all: ForAll) => void }) {
  const t = useText();
  const blocks = useRecords(farm, "blocks").list;
  switch (kind) {
    case "surroundings":
      return (
        <Choice
          id="import-near-kind-all"
          label={t("imports-near-kind-all")}
          value={all.kind}
          onValue={(v) => onAll({ ...all, kind: v })}
          choices={surroundingsKinds.map((k) => ({ value: k, label: named("ground-kind-", k) }))}
        />
      );
    case "finds":
      return (
        <>
          <Choice label={t("imports-cause-all")} optional empty={t("walk-cause-other")} value={all.cause} onValue={(v) => onAll({ ...all, cause: v })} choices={causes.filter((c) => c !== "other").map((c) => ({ value: c, label: named("walk-cause-", c) }))} />
          <TextField label={t("imports-on-all")} type="date" value={all.on} onValue={(v) => onAll({ ...all, on: v })} />
        </>
      );
    case "rows":
      return (
        <Choice
          label={t("imports-block-all")}
          value={all.block}
          onValue={(v) => onAll({ ...all, block: v })}
          choices={blocks.map((b) => ({ value: b.id, label: b.feature.properties.name }))}
        />
      );
    case "blocks":
    case "tracks":
      return null;
  }
}
