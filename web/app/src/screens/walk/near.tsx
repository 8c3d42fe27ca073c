import { useEffect, useRef, useState } from "preact/hooks";
import { type NearAnswer, Planting } from "../../api/planting";
import { asProblem } from "../../api/problem";
import { number } from "../../i18n";
import { useText } from "../../ui/hooks";
import type { PlaceProps } from "../place";
import { distanceM } from "../../rowmap/rowplace";
import type { Fix } from "./find";

// A walker goes a row on in two seconds; asking oftener tells nothing new.
const everyMs = 4000;
const movedM = 1;
const mostRows = 4;

/** Which rows the device may stand in, with the chance of each. It chooses none. */
export function NearRows({ api, block, fix }: { api: PlaceProps["api"]; block: string; fix: Fix }) {
  const t = useText();
  const [answer, setAnswer] = useState<NearAnswer | null>(null);
  const [silent, setSilent] = useState(false);
  const asked = useRef<{ fix: Fix; when: number } | null>(null);
  useEffect(() => {
    const last = asked.current;
    if (last && Date.now() - last.when < everyMs) return;
    if (last && answer && distanceM(last.fix.at, fix.at) < movedM && last.fix.accuracyM === fix.accuracyM) return;
    asked.current = { fix, when: Date.now() };
    new Planting(api).near(block, fix.at, fix.accuracyM).then(
      (got) => {
        setAnswer(got);
        setSilent(false);
      },
      (thrown: unknown) => setSilent(asProblem(thrown).offline),
    );
  }, [api, block, fix]);
  if (silent && !answer) return <p class="hint">{t("walk-near-silent")}</p>;
  if (!answer || !answer.says) return null;
  const percent = (chance: number) => number(chance * 100);
  const likely = [...answer.rows].sort((a, b) => b.chance - a.chance).slice(0, mostRows);
  return (
    <details class="walk-near">
      <summary>{answer.says}</summary>
      <ul>
        {likely.map((r) => (
          <li key={r.row}>{t("walk-near-row", { row: String(r.row), chance: percent(r.chance) })}</li>
        ))}
        <li>{t("walk-near-none", { chance: percent(answer.none) })}</li>
      </ul>
      <p class="hint">{answer.model}</p>
    </details>
  );
}
