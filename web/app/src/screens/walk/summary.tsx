import { useEffect, useState } from "preact/hooks";
import type { Client } from "../../api/client";
import { Fieldwork, type Programmes, type VisitSummary } from "../../api/fieldwork";
import { asProblem } from "../../api/problem";
import { language } from "../../i18n";
import type { Farm } from "../../model/farm";
import type { Stored } from "../../model/kinds";
import { waitingState } from "../../offline/entries";
import { type DrawnRow, lastPlant } from "../../rowmap/rowplace";
import { useRecords, useSignal, useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { type Effort, effortOf, numbers, totals } from "./effort";
import { looks } from "./find";
import { allCounts } from "./tally";

/** A visit read back: the server's sums where it has the visit, a preview of them where it has not. */
export function Summary(props: { farm: Farm; api: Client; visit: Stored<"visits">; rows: readonly DrawnRow[]; effort?: Effort }) {
  const t = useText();
  const { farm, api, visit, rows } = props;
  const ended = visit.feature.properties.ended_at !== undefined;
  const sent = ended && waitingState(visit) === undefined;
  const [summary, setSummary] = useState<VisitSummary | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const lang = useSignal(language);
  useEffect(() => {
    if (!sent) return;
    new Fieldwork(api).summary(visit.id).then(
      (got) => {
        setSummary(got);
        setProblem(null);
      },
      (thrown: unknown) => setProblem(asProblem(thrown).offline ? null : thrown),
    );
  }, [api, visit.id, visit.revision, sent, lang]);
  return (
    <section>
      <h2>{t(ended ? "walk-sum-closed" : "walk-sum")}</h2>
      {problem !== null && <ProblemNote problem={problem} />}
      {summary ? <Told summary={summary} /> : <Preview farm={farm} visit={visit} rows={rows} effort={props.effort} />}
    </section>
  );
}

function Told({ summary }: { summary: VisitSummary }) {
  const t = useText();
  return (
    <ul class="walk-sum">
      {summary.says.map((line) => (
        <li key={line}>{line}</li>
      ))}
      {summary.counts.map((c) => (
        <li key={c.what}>
          {t("walk-sum-count", { title: c.answer?.title ?? c.what, hits: c.hits, n: c.sampled })}
          {c.answer && `: ${c.answer.says}. ${c.answer.excludes ?? ""}`}
        </li>
      ))}
      {summary.unsaid.map((u) => (
        <li key={u.find}>
          “{u.words}”: {u.question}
        </li>
      ))}
      <li class="hint">{t("walk-count-server")}</li>
    </ul>
  );
}

function Preview({ farm, visit, rows, effort }: { farm: Farm; visit: Stored<"visits">; rows: readonly DrawnRow[]; effort: Effort | undefined }) {
  const t = useText();
  const finds = useRecords(farm, "finds").list.filter((f) => f.feature.properties.visit === visit.id);
  const programmes = useSignal(farm.answer<Programmes>("programmes"))?.programmes ?? [];
  const { inspected, counts } = visit.feature.properties;
  const sum = totals(effort ?? effortOf(inspected, (row) => lastPlant(rows, row)), rows);
  const causes = new Map<string, number>();
  for (const f of finds) {
    const name = looks(f.feature.properties);
    causes.set(name, (causes.get(name) ?? 0) + 1);
  }
  const title = (id: string) => programmes.find((p) => p.id === id)?.texts[language.get()].title ?? id;
  return (
    <ul class="walk-sum">
      {sum.seen.length === 0 ? (
        <li>{t("walk-sum-nothing")}</li>
      ) : (
        <li>{t("walk-sum-rows", { seen: sum.seen.length, of: sum.seen.length + sum.notSeen.length, plants: sum.plants, all: sum.of })}</li>
      )}
      {sum.notSeen.length > 0 ? <li>{t("walk-sum-not-seen", { rows: numbers(sum.notSeen) })}</li> : sum.seen.length > 0 && <li>{t("walk-sum-all")}</li>}
      {finds.length === 0 && <li>{t("walk-sum-found-none")}</li>}
      {[...causes].map(([cause, n]) => (
        <li key={cause}>{t("walk-sum-finds", { cause, n })}</li>
      ))}
      {(allCounts(farm.id, visit.id, counts).counts ?? []).map((c) => (
        <li key={c.what}>{t("walk-sum-count", { title: title(c.what), hits: c.hits, n: c.sampled })}</li>
      ))}
      <li class="hint">{t("walk-sum-preview")}</li>
    </ul>
  );
}
