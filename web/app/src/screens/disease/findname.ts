import { day, named, t } from "../../i18n";
import type { Stored } from "../../model/kinds";

/** Name of a find in a list. */
export function findName(f: Stored<"finds">, zone: string): string {
  const p = f.feature.properties;
  const cause = named("walk-cause-", p.cause);
  const state = named("walk-state-", p.state);
  return p.row !== undefined && p.plant !== undefined
    ? t("disease-find-name", { row: String(p.row), plant: String(p.plant), cause, state })
    : t("disease-find-bare", { cause, state, date: day(p.found_at, zone) });
}
