import { useEffect, useState } from "preact/hooks";
import { asProblem } from "../../api/problem";
import { language, number } from "../../i18n";
import { MainAction } from "../../ui/action";
import { Choice, TextField } from "../../ui/form";
import { useSignal, useText } from "../../ui/hooks";
import { faultOf, ProblemNote } from "../../ui/notes";
import { typedNumber } from "../../units/typed";
import type { PlaceProps } from "../place";

interface Input {
  readonly key: string;
  readonly title: string;
  readonly kind: "number" | "whole" | "text" | "list" | "date" | "local-time";
  readonly optional: boolean;
  readonly choices?: readonly string[];
}

interface Topic {
  readonly topic: string;
  readonly title: string;
  readonly formula: string;
  readonly source: string;
  readonly inputs: readonly Input[];
}

interface Sheet {
  readonly groups: readonly { readonly id: string; readonly title: string; readonly topics: readonly Topic[] }[];
}

interface Answer {
  readonly value: number | string | readonly [number, number];
  readonly unit: string;
  readonly formula: string;
  readonly source: string;
  readonly how: string;
}

/** The trade's sums: chosen from a list, worked out by the server, with formula and source beside the answer. */
export function CalcPage({ api, go, address }: PlaceProps) {
  const t = useText();
  const spoken = useSignal(language);
  const [sheet, setSheet] = useState<Sheet | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const load = () => {
    setProblem(null);
    api.calcTopics<Sheet>().then(setSheet, setProblem);
  };
  useEffect(load, [api, spoken]);
  const wanted = address.view?.startsWith("calc:") ? address.view.slice(5) : "";
  const chosen = sheet?.groups.flatMap((g) => g.topics).find((one) => one.topic === wanted);
  return (
    <>
      <h2>{t("calc-title")}</h2>
      <p class="hint">{t("calc-hint")}</p>
      {problem !== null && <ProblemNote problem={problem} onRetry={load} />}
      {!sheet && problem === null && <p>{t("calc-loading")}</p>}
      {sheet && !chosen && (
        <nav class="sums" aria-label={t("calc-title")}>
          {sheet.groups.map((g) => (
            <section key={g.id}>
              <h3>{g.title}</h3>
              <ul>
                {g.topics.map((one) => (
                  <li key={one.topic}>
                    <button type="button" class="link" onClick={() => go({ view: `calc:${one.topic}` })}>
                      {one.title}
                    </button>
                  </li>
                ))}
              </ul>
            </section>
          ))}
        </nav>
      )}
      {chosen && <OneSum key={chosen.topic} api={api} topic={chosen} back={() => go({ view: "calc" })} />}
    </>
  );
}

function wire(input: Input, text: string): unknown {
  if (input.kind === "number" || input.kind === "whole") {
    const n = typedNumber(text);
    return Number.isNaN(n) ? text : n;
  }
  if (input.kind === "list") return text.split(/[;\s]+|,(?=\s)|,(?!\d{3}\b)/).filter(Boolean).map((word) => typedNumber(word)).map((n, i) => (Number.isNaN(n) ? text.split(/[;,\s]+/)[i] ?? "" : n));
  return text;
}

function OneSum({ api, topic, back }: { api: PlaceProps["api"]; topic: Topic; back: () => void }) {
  const t = useText();
  const [typed, setTyped] = useState<Readonly<Record<string, string>>>({});
  const [answer, setAnswer] = useState<Answer | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  const work = async () => {
    setBusy(true);
    setProblem(null);
    setAnswer(null);
    const inputs = Object.fromEntries(topic.inputs.flatMap((i) => (typed[i.key]?.trim() ? [[i.key, wire(i, typed[i.key]!.trim())]] : [])));
    try {
      setAnswer(await api.calc<Answer>(topic.topic, inputs));
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };
  const value = (a: Answer) => (typeof a.value === "number" ? number(a.value, 6) : typeof a.value === "string" ? a.value.replace("T", " ") : t("calc-pair", { low: number(a.value[0], 3), high: number(a.value[1], 3) }));
  return (
    <>
      <button type="button" class="link" onClick={back}>
        {t("calc-back")}
      </button>
      <h3>{topic.title}</h3>
      {topic.inputs.map((i) => {
        const common = { id: `calc-${i.key}`, label: i.title, optional: i.optional, fault: faultOf(problem ? asProblem(problem) : null, i.key), value: typed[i.key] ?? "" };
        const onValue = (v: string) => {
          setTyped((now) => ({ ...now, [i.key]: v }));
          setAnswer(null);
        };
        if (i.choices) return <Choice key={i.key} {...common} empty={i.optional ? t("calc-not-said") : undefined} choices={i.choices.map((c) => ({ value: c, label: c.replaceAll("_", " ") }))} onValue={onValue} />;
        return (
          <TextField
            key={i.key}
            {...common}
            hint={i.kind === "list" ? t("calc-list-hint") : i.key === "zone" ? t("calc-zone-hint") : undefined}
            type={i.kind === "date" ? "date" : i.kind === "local-time" ? "datetime-local" : "text"}
            inputMode={i.kind === "number" || i.kind === "whole" ? "decimal" : "text"}
            onValue={onValue}
          />
        );
      })}
      {problem !== null && <ProblemNote problem={problem} fields={topic.inputs.map((i) => i.key)} />}
      <section aria-live="polite">
        {answer && (
          <p>
            <strong class="figure">
              {value(answer)} {answer.unit}
            </strong>
          </p>
        )}
        {answer?.how && <p>{answer.how}</p>}
        <dl class="figures">
          <dt>{t("core-how-formula")}</dt>
          <dd>{topic.formula}</dd>
          <dt>{t("core-how-source")}</dt>
          <dd>{topic.source}</dd>
        </dl>
      </section>
      <MainAction label={busy ? t("calc-working") : t("calc-work")} run={() => void work()} busy={busy} />
    </>
  );
}
