import { useState } from "preact/hooks";
import { answers, type LabAnswer, Scouting } from "../../api/scouting";
import { asProblem } from "../../api/problem";
import { day, named } from "../../i18n";
import { type Cause, causes, type Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { MainAction } from "../../ui/action";
import { Choice, TextArea, TextField } from "../../ui/form";
import { useRecords, useText } from "../../ui/hooks";
import { faultOf, ProblemNote } from "../../ui/notes";
import { TakeFile } from "../../ui/take";
import { say } from "../../ui/undo";
import { wallTime } from "../pass/zoned";
import type { PlaceProps } from "../place";
import { ToSend } from "./newsample";
import { OrganismChoice } from "./organism";
import { resultOf, sampleName } from "./samples";
import { WhichName } from "./whichname";

/** One sample: what it covers, its slip, and the laboratory's result. */
export function OneSample(props: PlaceProps) {
  const t = useText();
  const { farm, address } = props;
  const samples = useRecords(farm, "samples");
  const sample = samples.list.find((s) => s.id === address.view?.slice("sample:".length));
  if (samples.state === "failed") return <ProblemNote problem={samples.failure} onRetry={() => void farm.load("samples", true)} />;
  if (!sample) return <p>{t(samples.state === "ready" ? "samples-gone" : "core-loading")}</p>;
  return <Known key={sample.id} {...props} sample={sample} />;
}

function Known(props: PlaceProps & { sample: Stored<"samples"> }) {
  const t = useText();
  const { farm, api, go, sample } = props;
  const finds = useRecords(farm, "finds");
  const q = sample.feature.properties;
  const covered = finds.list.filter((f) => q.finds.includes(f.id));
  const may = mayWrite(farm.info.role, "samples");
  return (
    <>
      <h1>{t("samples-one-title", { sample: sampleName(sample, t) })}</h1>
      <p>{resultOf(sample, t)}</p>
      <TakeFile net={api.net} path={api.reportPath("sample-slip", "pdf", { sample: sample.id })} file={`${farm.id}-sample-slip.pdf`} label={t("samples-slip")} />
      <h2>{t("samples-covers", { n: q.finds.length })}</h2>
      <ul class="covered">
        {covered.map((f) => (
          <li key={f.id}>
            <button type="button" class="link" onClick={() => go({ view: `find:${f.id}`, ...(f.feature.properties.block ? { block: f.feature.properties.block } : {}) })}>
              {t("samples-plant", { row: String(f.feature.properties.row ?? "–"), plant: String(f.feature.properties.plant ?? "–") })}
            </button>
            <span class="said-beside">
              <span>
                {named("walk-cause-", f.feature.properties.cause)}, {named("walk-state-", f.feature.properties.state)}
              </span>
              <q>{f.feature.properties.words ?? t("core-not-said")}</q>
            </span>
          </li>
        ))}
      </ul>
      {may && <Sent {...props} />}
      {may && <Result {...props} covered={covered} />}
      {!q.result && <ToSend api={api} />}
    </>
  );
}

/** When it was sent, where to, and the number it got there. */
function Sent({ farm, sample }: PlaceProps & { sample: Stored<"samples"> }) {
  const t = useText();
  const q = sample.feature.properties;
  const [form, setForm] = useState({ sent_on: q.sent_on ?? "", laboratory: q.laboratory ?? "", accession: q.accession ?? "" });
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  const refused = problem ? asProblem(problem) : null;
  const save = async () => {
    setProblem(null);
    setBusy(true);
    try {
      const { sent_on: _s, laboratory: _l, accession: _a, ...rest } = q;
      const properties = { ...rest, ...Object.fromEntries(Object.entries(form).filter(([, v]) => v.trim() !== "")) };
      await farm.put("samples", { ...sample.feature, properties }, sample);
      say(t("samples-sent-saved"));
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };
  return (
    <details>
      <summary>{t("samples-sent-edit")}</summary>
      <TextField label={t("samples-laboratory")} value={form.laboratory} fault={faultOf(refused, "laboratory")} onValue={(laboratory) => setForm({ ...form, laboratory })} />
      <TextField label={t("samples-sent")} type="date" optional value={form.sent_on} fault={faultOf(refused, "sent_on")} onValue={(sent_on) => setForm({ ...form, sent_on })} />
      <TextField label={t("samples-accession")} optional value={form.accession} fault={faultOf(refused, "accession")} onValue={(accession) => setForm({ ...form, accession })} />
      {problem !== null && <ProblemNote problem={problem} fields={["laboratory", "sent_on", "accession"]} />}
      <button type="button" disabled={busy} onClick={() => void save()}>
        {t("samples-sent-save")}
      </button>
    </details>
  );
}

/** The laboratory's result: it moves every find of the sample. */
function Result({ farm, api, sample, covered }: PlaceProps & { sample: Stored<"samples">; covered: readonly Stored<"finds">[] }) {
  const t = useText();
  const q = sample.feature.properties;
  const [form, setForm] = useState({
    answer: (q.answer ?? "") as LabAnswer | "",
    result: q.result ?? "",
    result_on: q.result_on ?? wallTime(Date.now(), farm.info.zone).slice(0, 10),
    found: (q.found ?? "") as Cause | "",
    organism: q.organism ?? "",
    method: q.method ?? "",
    why: "",
  });
  const set = (part: Partial<typeof form>) => setForm({ ...form, ...part });
  const [fault, setFault] = useState<{ answer?: string; result?: string }>({});
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  const refused = problem ? asProblem(problem) : null;
  const suspected = [...new Set(covered.map((f) => f.feature.properties.cause))];
  // What the laboratory names, or else what all its finds are of.
  const cause = form.found || (suspected.length === 1 ? suspected[0] : undefined);

  const save = async () => {
    const missing = { ...(form.answer ? {} : { answer: t("samples-answer-missing") }), ...(form.result.trim() ? {} : { result: t("samples-result-missing") }) };
    setFault(missing);
    if (!form.answer || !form.result.trim()) return;
    setProblem(null);
    setBusy(true);
    try {
      const { answer, found, ...rest } = form;
      const said = Object.fromEntries(Object.entries(rest).flatMap(([k, v]) => (v.trim() ? [[k, v.trim()]] : [])));
      const { moved } = await new Scouting(api).enterResult(sample.id, { answer, result: form.result.trim(), result_on: form.result_on, ...(answer === "confirmed" && found ? { found } : {}), ...said });
      await Promise.all([farm.load("samples", true), farm.load("finds", true)]);
      say(t("samples-moved", { n: moved }));
      set({ why: "" });
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };
  const shown = ["answer", "result", "result_on", "found", "organism", "method"];
  return (
    <section>
      <h2>{t("samples-enter")}</h2>
      <p class="hint">{t("samples-enter-why")}</p>
      <Choice
        label={t("samples-answer")}
        value={form.answer}
        fault={fault.answer ?? faultOf(refused, "answer")}
        choices={answers.map((a) => ({ value: a, label: t(`samples-answer-${a}`) }))}
        onValue={(answer) => set({ answer })}
      />
      <TextArea label={t("samples-result-words")} rows={2} value={form.result} fault={fault.result ?? faultOf(refused, "result")} onValue={(result) => set({ result })} />
      <TextField label={t("samples-result-on")} type="date" value={form.result_on} fault={faultOf(refused, "result_on")} onValue={(result_on) => set({ result_on })} />
      {form.answer === "confirmed" && (
        <>
          <Choice
            label={t("samples-found")}
            hint={t("samples-found-how")}
            value={form.found}
            empty={t("samples-found-same")}
            fault={faultOf(refused, "found")}
            choices={causes.map((c) => ({ value: c, label: t(`walk-cause-${c}`) }))}
            onValue={(found) => set({ found, organism: "" })}
          />
          {!form.found && form.result.trim() && <WhichName api={api} said={form.result.trim()} is={undefined} onCause={(found) => set({ found, organism: "" })} />}
          <OrganismChoice api={api} cause={cause} value={form.organism} fault={faultOf(refused, "organism")} onValue={(organism) => set({ organism })} />
        </>
      )}
      <TextField label={t("samples-method")} optional value={form.method} fault={faultOf(refused, "method")} onValue={(method) => set({ method })} />
      <TextField label={t("samples-result-why")} optional value={form.why} onValue={(why) => set({ why })} />
      {problem !== null && <ProblemNote problem={problem} fields={shown} />}
      {q.result_on && <p class="soft">{t("samples-result-known", { date: day(q.result_on) })}</p>}
      <MainAction label={t("samples-save-result", { n: covered.length })} run={() => void save()} busy={busy} />
    </section>
  );
}
