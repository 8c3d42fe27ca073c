import { moment } from "../../../i18n";
import type { Farm } from "../../../model/farm";
import { useText } from "../../../ui/hooks";
import type { Go } from "../../place";
import { Keep } from "./keep";

/** The day and time a walk began, where the farm is. */
export function walkedOn(startedAtS: number, farm: Farm): string {
  return moment(new Date(startedAtS * 1000).toISOString(), farm.info.zone);
}

/** Leads to walking round a block; where a walk was left unfinished, back to that. */
export function RoundEntry({ farm, go }: { readonly farm: Farm; readonly go: Go }) {
  const t = useText();
  const kept = new Keep(farm.id).head();
  return (
    <button type="button" onClick={() => go({ block: undefined, view: "round" })}>
      {kept && !kept.stored ? t("ground-round-resume", { when: walkedOn(kept.startedAtS, farm) }) : t("ground-round")}
    </button>
  );
}
