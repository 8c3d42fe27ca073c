import { useState } from "preact/hooks";
import type { Client } from "../../api/client";
import { Fieldwork, type Walked } from "../../api/fieldwork";
import { asProblem } from "../../api/problem";
import { number } from "../../i18n";
import type { GeometryOf } from "../../model/kinds";
import type { Stretch } from "../../rowmap/rowplace";
import { useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { fixCount, type Recording } from "../ground/round/recording";
import { trackOf, usualAccuracyM } from "./track";

// What phones in the open say of themselves, where the fixes of another phone came without it.
const plainAccuracyM = 5;

/** Rows as the recorded way proposes them; what was looked at is for the scout to say. */
export function WalkedRows(props: {
  readonly api: Client;
  readonly visit: string;
  readonly before: GeometryOf["visits"];
  readonly walked: Recording | null;
  readonly gps: boolean;
  readonly onGps: (on: boolean) => void;
  readonly onTake: (stretches: readonly Stretch[]) => void;
}) {
  const t = useText();
  const { walked } = props;
  const [proposal, setProposal] = useState<Walked | null>(null);
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<unknown>(null);
  const track = trackOf(props.before, walked);
  const count = walked ? fixCount(walked) : 0;
  const ask = async () => {
    if (!track) return;
    setBusy(true);
    setProblem(null);
    try {
      setProposal(await new Fieldwork(props.api).walked(props.visit, track, usualAccuracyM(walked) ?? plainAccuracyM));
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };
  const take = (from: Walked) => {
    props.onTake(from.inspected.flatMap((s): Stretch[] => ("row" in s && s.from !== undefined && s.to !== undefined ? [{ row: s.row, from: s.from, to: s.to }] : [])));
    setProposal(null);
  };
  const failed = problem ? asProblem(problem) : null;
  return (
    <section>
      <h2>{t("walk-track")}</h2>
      <p>{track ? t("walk-track-points", { n: count }) : t("walk-track-none")}</p>
      <div class="buttons">
        {!props.gps && (
          <button type="button" class="big" onClick={() => props.onGps(true)}>
            {t("walk-gps-on")}
          </button>
        )}
        {track && (
          <button type="button" class="big" disabled={busy} onClick={() => void ask()}>
            {t("walk-track-ask")}
          </button>
        )}
      </div>
      {/* A visit that waits to be sent is none the server knows yet. */}
      {failed && (failed.offline || failed.status === 404 ? <p role="status">{t("walk-track-silent")}</p> : <ProblemNote problem={failed} />)}
      {proposal && (
        <div role="status">
          {proposal.rows.length === 0 && <p>{t("walk-track-nothing")}</p>}
          <ul>
            {proposal.rows.map((r) => (
              <li key={r.row}>{t("walk-track-row", { row: String(r.row), plants: r.plants, chance: number(r.chance * 100) })}</li>
            ))}
          </ul>
          {proposal.inspected.length > 0 && (
            <button type="button" class="big" onClick={() => take(proposal)}>
              {t("walk-track-take")}
            </button>
          )}
          <details>
            <summary>{t("core-how")}</summary>
            <p class="hint">{proposal.how}</p>
          </details>
        </div>
      )}
    </section>
  );
}
