import { day, named, type t as texts } from "../i18n";
import { type PlantMarks, plantId } from "./marks";

/** Everything known of one plant, as one line; `draft` is what is said of those in `drafted`. */
export function inWords(marks: PlantMarks, row: number, plant: number, drafted: ReadonlySet<number>, t: typeof texts, draft = t("plants-drafted")): string {
  const parts = [t("plants-at", { row: String(row), plant: String(plant) })];
  const standing = marks.standing(row, plant);
  const on = standing === "replanted" ? marks.replantedOn(row, plant) : standing === "removed" ? marks.removedOn(row, plant) : undefined;
  parts.push(on ? t(standing === "replanted" ? "plants-replanted-on" : "plants-removed-on", { day: day(on) }) : t(`plants-is-${standing}`));
  for (const f of marks.finds(row, plant)) parts.push(`${named("walk-cause-", f.cause)}, ${named("walk-state-", f.state)}`);
  const seen = marks.seen(row, plant);
  if (seen !== null) parts.push(t(seen ? "plants-seen" : "plants-unseen"));
  if (drafted.has(plantId(row, plant))) parts.push(draft);
  return parts.join(" – ");
}
