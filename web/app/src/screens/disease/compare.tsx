import { useEffect, useState } from "preact/hooks";
import type { Client } from "../../api/client";
import { day, number } from "../../i18n";
import { Choice } from "../../ui/form";
import { useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { share } from "../../units";
import { type Answer, answerOf, type WireAnswer } from "./answer";
import type { Day } from "./days";

/** The same question asked of another day, figure by figure beside the first. */
export function Compare(props: {
  readonly api: Client;
  /** The question of the answer shown, as it was sent. */
  readonly asked: Record<string, unknown>;
  readonly answer: Answer;
  readonly day: string | undefined;
  readonly days: readonly Day[];
}) {
  const t = useText();
  const { api, asked, answer, days } = props;
  const [with_, setWith] = useState("");
  const [other, setOther] = useState<Answer | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const end = days.find((d) => d.day === with_)?.end;
  useEffect(() => {
    setOther(null);
    setProblem(null);
    if (!end) return;
    const mine = new AbortController();
    api.hotSpots<WireAnswer>({ ...asked, as_of: end } as never, { signal: mine.signal }).then(
      (wire) => setOther(answerOf(wire)),
      (thrown) => {
        if (!mine.signal.aborted) setProblem(thrown);
      },
    );
    return () => mine.abort();
  }, [api, asked, end]);
  const here = props.day ? day(props.day) : t("disease-day-now");
  const lines: readonly (readonly [string, (a: Answer) => string, ((a: Answer) => number) | null])[] = [
    [t("disease-looked"), (a) => number(a.inspected), (a) => a.inspected],
    [t("disease-infected"), (a) => number(a.infected), (a) => a.infected],
    [t("disease-share"), (a) => share(a.counted, a.inspected), null],
    [t("disease-rate-limits"), (a) => limits(a), null],
    [t("disease-groups"), (a) => number(a.groups.length), (a) => a.groups.length],
    [t("disease-state-confirmed"), (a) => number(a.list.confirmed.length), (a) => a.list.confirmed.length],
    [t("disease-gone"), (a) => number(a.gone.length), (a) => a.gone.length],
  ];
  return (
    <section>
      <h2>{t("disease-compare")}</h2>
      <Choice
        label={t("disease-compare-with")}
        value={with_}
        empty={t("disease-compare-none")}
        choices={days.filter((d) => d.day !== props.day).map((d) => ({ value: d.day, label: day(d.day) }))}
        onValue={setWith}
      />
      <ProblemNote problem={problem} />
      {end && !other && problem === null && (
        <p role="status">
          <progress aria-label={t("disease-running")} /> {t("disease-running")}
        </p>
      )}
      {other && (
        <div class="table-scroll" role="region" aria-label={t("disease-compare")} tabIndex={0}>
          <table>
            <caption class="hidden">{t("disease-compare")}</caption>
            <thead>
              <tr>
                <th scope="col">{t("disease-compare-figure")}</th>
                <th scope="col" class="num">{day(with_)}</th>
                <th scope="col" class="num">{here}</th>
                <th scope="col" class="num">{t("disease-choice-change")}</th>
              </tr>
            </thead>
            <tbody>
              {lines.map(([name, cell, of]) => (
                <tr key={name}>
                  <th scope="row">{name}</th>
                  <td class="num">{cell(other)}</td>
                  <td class="num">{cell(answer)}</td>
                  <td class="num">{of ? signed(of(answer) - of(other), with_, props.day) : "–"}</td>
                </tr>
              ))}
            </tbody>
          </table>
          <p class="hint">{t("disease-compare-hint")}</p>
        </div>
      )}
    </section>
  );
}

const limits = (a: Answer) => (a.inspected > 0 ? `${number(100 * a.rate.low, 1)}–${number(100 * a.rate.high, 1)} %` : "–");

/** The change from the earlier of two days to the later; today is later than any. */
function signed(change: number, with_: string, day: string | undefined): string {
  const later = day === undefined || day > with_ ? change : -change;
  return later === 0 ? "0" : `${later > 0 ? "+" : "−"}${number(Math.abs(later))}`;
}
