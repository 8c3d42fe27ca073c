import { useEffect, useState } from "preact/hooks";
import { asProblem } from "../../api/problem";
import { day, named, t as text } from "../../i18n";
import { feature, type FindState, type Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { uuid7 } from "../../model/uuid7";
import { Choice, TextArea, TextField } from "../../ui/form";
import { useRecords, useText, useUnits } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { length } from "../../units";
import type { PlaceProps } from "../place";

/** Name of a find in a list. */
export function findName(f: Stored<"finds">, zone: string): string {
  const p = f.feature.properties;
  const cause = named("walk-cause-", p.cause);
  const state = named("walk-state-", p.state);
  return p.row !== undefined && p.plant !== undefined
    ? text("disease-find-name", { row: String(p.row), plant: String(p.plant), cause, state })
    : text("disease-find-bare", { cause, state, date: day(p.found_at, zone) });
}

/** One find: what is known of it, the decision and its sample. */
export function OneFind(props: PlaceProps & { readonly finds: readonly Stored<"finds">[]; readonly chosen: string | undefined; readonly onChoose: (id: string) => void }) {
  const t = useText();
  useUnits();
  const { farm, finds } = props;
  const find = finds.find((f) => f.id === props.chosen);
  return (
    <section>
      <h2>{t("disease-find")}</h2>
      {!find && <p>{t("disease-find-none")}</p>}
      <Choice
        label={t("disease-find-choose")}
        value={find?.id ?? ""}
        choices={finds.map((f) => ({ value: f.id, label: findName(f, farm.info.zone) }))}
        onValue={props.onChoose}
      />
      {find && <Known key={find.id} {...props} find={find} />}
    </section>
  );
}

function Known({ farm, api, map, find }: PlaceProps & { find: Stored<"finds"> }) {
  const t = useText();
  const p = find.feature.properties;
  const samples = useRecords(farm, "samples");
  const own = samples.list.filter((s) => s.feature.properties.finds.includes(find.id));
  const role = farm.info.role;
  // Whoever writes reviews decides what a find is; the server holds the rule.
  const may = mayWrite(role, "reviews");
  const [reason, setReason] = useState("");
  const [fault, setFault] = useState<string>();
  const [problem, setProblem] = useState<unknown>(null);
  const [said, setSaid] = useState("");
  const [busy, setBusy] = useState(false);
  useEffect(() => map.choose({ layer: "finds", id: find.id }), [map, find.id]);

  const decide = async (state: FindState) => {
    if (!reason.trim()) return setFault(t("disease-decide-reason-missing"));
    setFault(undefined);
    setProblem(null);
    setSaid("");
    setBusy(true);
    try {
      await farm.put("finds", { ...find.feature, properties: { ...find.feature.properties, state } }, find, reason.trim());
      setReason("");
      say(t("disease-decided", { state: t(`walk-state-${state}`) }));
    } catch (thrown) {
      if (asProblem(thrown).stale) {
        farm.know(await api.get("finds", find.id));
        setSaid(t("disease-stale"));
      } else {
        setProblem(thrown);
      }
    } finally {
      setBusy(false);
    }
  };

  return (
    <>
      <dl class="figures">
        <dt>{t("walk-cause")}</dt>
        <dd>{named("walk-cause-", p.cause)}</dd>
        <dt>{t("disease-find-severity")}</dt>
        <dd>{p.severity === undefined ? t("core-not-said") : t(`walk-severity-${p.severity}`)}</dd>
        <dt>{t("disease-find-on")}</dt>
        <dd>{day(p.found_at, farm.info.zone)}</dd>
        {p.words && (
          <>
            <dt>{t("disease-find-words")}</dt>
            <dd>{p.words}</dd>
          </>
        )}
        {p.accuracy_m !== undefined && (
          <>
            <dt>{t("disease-find-accuracy")}</dt>
            <dd>{length(p.accuracy_m)}</dd>
          </>
        )}
      </dl>
      {own.length > 0 && (
        <>
          <p>{t("disease-samples-known", { n: own.length })}</p>
          <ul>
            {own.map((s) => {
              const q = s.feature.properties;
              return <li key={s.id}>{[q.laboratory, q.accession, q.sent_on && day(q.sent_on), q.result].filter(Boolean).join(", ")}</li>;
            })}
          </ul>
        </>
      )}
      <p role="status">{said}</p>
      {problem !== null && <ProblemNote problem={problem} map={map} />}
      {may ? (
        <>
          <h3>{t("disease-decide")}</h3>
          <TextArea label={t("disease-decide-reason")} rows={2} value={reason} onValue={setReason} fault={fault} />
          <div class="buttons">
            <button type="button" disabled={busy} onClick={() => void decide("confirmed")}>
              {t("disease-confirm")}
            </button>
            <button type="button" disabled={busy} onClick={() => void decide("refuted")}>
              {t("disease-refute")}
            </button>
          </div>
        </>
      ) : (
        <p class="hint">{t("disease-not-yours")}</p>
      )}
      {mayWrite(role, "samples") && <SampleForm farm={farm} find={find} />}
    </>
  );
}

function SampleForm({ farm, find }: { farm: PlaceProps["farm"]; find: Stored<"finds"> }) {
  const t = useText();
  const empty = { sent_on: "", laboratory: "", accession: "", method: "", result: "", result_on: "" };
  const [form, setForm] = useState(empty);
  const [fault, setFault] = useState<string>();
  const [problem, setProblem] = useState<unknown>(null);
  const [id, setId] = useState(uuid7);
  const set = (part: Partial<typeof empty>) => {
    setForm({ ...form, ...part });
  };
  const save = async () => {
    if (!form.laboratory.trim()) return setFault(t("disease-sample-lab-missing"));
    setFault(undefined);
    setProblem(null);
    const filled = Object.fromEntries(Object.entries(form).filter(([, v]) => v.trim() !== ""));
    try {
      await farm.put("samples", feature<"samples">(id, null, { finds: [find.id], ...filled }), null);
      setId(uuid7());
      setForm(empty);
      say(t("disease-sample-saved"));
      if (find.feature.properties.state === "suspected") {
        await farm.put("finds", { ...find.feature, properties: { ...find.feature.properties, state: "sampled" } }, find);
      }
    } catch (thrown) {
      setProblem(thrown);
    }
  };
  return (
    <details>
      <summary>{t("disease-sample")}</summary>
      <TextField label={t("disease-sample-lab")} value={form.laboratory} fault={fault} onValue={(laboratory) => set({ laboratory })} />
      <TextField label={t("disease-sample-sent")} type="date" optional value={form.sent_on} onValue={(sent_on) => set({ sent_on })} />
      <TextField label={t("disease-sample-accession")} optional value={form.accession} onValue={(accession) => set({ accession })} />
      <TextField label={t("disease-sample-method")} optional value={form.method} onValue={(method) => set({ method })} />
      <TextField label={t("disease-sample-result")} optional value={form.result} onValue={(result) => set({ result })} />
      <TextField label={t("disease-sample-result-on")} type="date" optional value={form.result_on} onValue={(result_on) => set({ result_on })} />
      {problem !== null && <ProblemNote problem={problem} />}
      <button type="button" onClick={() => void save()}>
        {t("disease-sample-save")}
      </button>
    </details>
  );
}
