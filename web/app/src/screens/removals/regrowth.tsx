import { useCallback, useEffect, useState } from "preact/hooks";
import { day, language } from "../../i18n";
import type { PlantAt } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { TextField } from "../../ui/form";
import { useRecords, useSignal, useText } from "../../ui/hooks";
import { Caution, Mark, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import type { PlaceProps } from "../place";
import { type Look, type Looks, looks, type Watched } from "./wire";
import { today } from "./walk";

/** Where something may come up again, and when to look. */
export function Regrowth(props: PlaceProps) {
  const t = useText();
  const { farm, api } = props;
  const [asOf, setAsOf] = useState(() => today(farm.info.zone));
  const [answer, setAnswer] = useState<Looks | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  useRecords(farm, "removals");
  useRecords(farm, "blocks");
  const spoken = useSignal(language);
  const load = useCallback(async () => {
    if (!/^\d{4}-\d\d-\d\d$/.test(asOf)) return;
    setProblem(null);
    try {
      setAnswer(await looks(api, asOf));
    } catch (thrown) {
      setProblem(thrown);
    }
  }, [api, asOf, spoken]);
  useEffect(() => void load(), [load]);
  const nameOf = (id: string) => farm.find("blocks", id)?.feature.properties.name ?? id;
  const waiting = (answer?.removals ?? []).flatMap((w) => {
    const next = w.looks.find((k) => k.state === "due" || k.state === "overdue");
    return next ? [{ w, next }] : [];
  });
  const later = (answer?.removals ?? []).flatMap((w) => {
    const next = w.looks.find((k) => k.state === "later");
    return next && !waiting.some((o) => o.w === w) ? [{ w, next }] : [];
  });
  return (
    <div class="removals walk">
      <h1>{t("removals-regrowth-title")}</h1>
      <TextField label={t("removals-as-of")} type="date" value={asOf} onValue={setAsOf} />
      {problem !== null && <ProblemNote problem={problem} onRetry={() => void load()} />}
      {answer && (
        <p role="status">
          <strong>{t("removals-due", { due: answer.due, overdue: answer.overdue })}</strong>
        </p>
      )}
      <Caution>{t("removals-regrowth-why")}</Caution>
      <ul class="plain">
        {waiting.map(({ w, next }) => (
          <OneLook key={`${w.removal} ${next.number}`} {...props} watched={w} look={next} block={nameOf(w.block)} on={asOf} onDone={load} />
        ))}
      </ul>
      {later.length > 0 && (
        <details>
          <summary>{t("removals-later", { n: later.length })}</summary>
          <ul>
            {later.map(({ w, next }) => (
              <li key={w.removal}>{t("removals-later-line", { plants: plantsText(w.plants), block: nameOf(w.block), from: day(next.from), by: day(next.by) })}</li>
            ))}
          </ul>
        </details>
      )}
      {answer && <p class="hint">{answer.how}</p>}
    </div>
  );
}

const mostNamed = 12;

/** Row/plant of some plants; many are counted, not named. */
function plantsText(plants: readonly PlantAt[]): string {
  const named = plants.slice(0, mostNamed).map((p) => `${p.row}/${p.plant}`);
  return named.join(", ") + (plants.length > mostNamed ? ` … (${plants.length})` : "");
}

interface OneLookProps extends PlaceProps {
  readonly watched: Watched;
  readonly look: Look;
  readonly block: string;
  readonly on: string;
  readonly onDone: () => Promise<void>;
}

function OneLook({ farm, watched, look, block, on, onDone }: OneLookProps) {
  const t = useText();
  const [back, setBack] = useState<ReadonlySet<string>>(new Set());
  const [problem, setProblem] = useState<unknown>(null);
  const [saved, setSaved] = useState(false);
  const stored = farm.find("removals", watched.removal);
  const may = mayWrite(farm.info.role, "removals") && stored !== undefined;
  const several = watched.plants.length > 1;
  const keep = async (regrowth: boolean) => {
    if (!stored) return;
    setProblem(null);
    const plants = watched.plants.filter((p) => back.has(`${p.row} ${p.plant}`));
    const p = stored.feature.properties;
    const check = { on, regrowth, ...(regrowth && several && plants.length > 0 ? { plants } : {}) };
    try {
      await farm.keep("removals", { ...stored.feature, properties: { ...p, checks: [...(p.checks ?? []), check] } }, stored);
      setSaved(true);
      say(t(regrowth ? "removals-came-back-said" : "removals-nothing-said"));
      await onDone();
    } catch (thrown) {
      setProblem(thrown);
    }
  };
  const plants = plantsText(watched.plants);
  return (
    <li class="look" aria-label={t("removals-look", { plants, block })}>
      <p>
        <strong>{t("removals-look", { plants, block })}</strong>
      </p>
      <p>
        <Mark answer={look.state === "overdue" ? "stop" : "caution"} /> {t(`removals-state-${look.state === "overdue" ? "overdue" : "due"}`, { by: day(look.by) })}
      </p>
      <p class="soft">{t("removals-dug", { day: day(watched.done_on), when: look.when })}</p>
      {several && may && !saved && (
        <p class="buttons" role="group" aria-label={t("removals-which-back")}>
          {watched.plants.slice(0, 60).map((p) => {
            const key = `${p.row} ${p.plant}`;
            return (
              <button
                key={key}
                type="button"
                class="big"
                aria-pressed={back.has(key)}
                onClick={() => {
                  const next = new Set(back);
                  if (!next.delete(key)) next.add(key);
                  setBack(next);
                }}
              >
                {p.row}/{p.plant}
              </button>
            );
          })}
        </p>
      )}
      {problem !== null && <ProblemNote problem={problem} />}
      {saved && <p role="status">{t("removals-look-kept")}</p>}
      {may && !saved && (
        <p class="buttons">
          <button type="button" class="big" onClick={() => void keep(false)}>
            {t("removals-nothing-up")}
          </button>
          <button type="button" class="big" disabled={several && back.size === 0} onClick={() => void keep(true)}>
            {t(several ? "removals-came-back-some" : "removals-came-back", { n: back.size })}
          </button>
        </p>
      )}
    </li>
  );
}
