import { useEffect, useRef, useState } from "preact/hooks";
import { Scouting } from "../../api/scouting";
import { asProblem } from "../../api/problem";
import { day, moment, named } from "../../i18n";
import { type Cause, causes, type FindState, type Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { useAsked } from "../../ui/asked";
import { Choice, TextArea } from "../../ui/form";
import { useRecords, useText, useUnits } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { length } from "../../units";
import type { PlaceProps } from "../place";
import { findName } from "./findname";
import { OrganismChoice } from "./organism";
import { resultOf, sampleName } from "./samples";
import { WhichName } from "./whichname";

/** One find: what is known of it, how far its proof has come, and the decision. */
export function OneFind(props: PlaceProps & { readonly finds: readonly Stored<"finds">[]; readonly chosen: string | undefined; readonly onChoose: (id: string) => void }) {
  const t = useText();
  useUnits();
  const { farm, finds } = props;
  const find = finds.find((f) => f.id === props.chosen);
  const box = useRef<HTMLElement>(null);
  useEffect(() => {
    // After the frame has shown the sheet's top, as it does for every new view.
    if (find) requestAnimationFrame(() => box.current?.scrollIntoView({ block: "start" }));
  }, [find?.id]);
  return (
    <section ref={box}>
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

type OfFind = PlaceProps & { readonly find: Stored<"finds"> };

function Known(props: OfFind) {
  const t = useText();
  const { farm, map, go, find } = props;
  const p = find.feature.properties;
  const samples = useRecords(farm, "samples");
  const own = samples.list.filter((s) => s.feature.properties.finds.includes(find.id));
  const role = farm.info.role;
  useEffect(() => map.choose({ layer: "finds", id: find.id }), [map, find.id]);
  return (
    <>
      <dl class="said-beside">
        <div>
          <dt>{t("samples-name")}</dt>
          <dd>
            <strong>{named("walk-cause-", p.cause)}</strong>
            {p.organism ? <em class="organism">{p.organism}</em> : <span class="soft">{t("samples-organism-open")}</span>}
          </dd>
        </div>
        <div>
          <dt>{t("disease-find-words")}</dt>
          <dd>{p.words ? <q>{p.words}</q> : t("core-not-said")}</dd>
        </div>
      </dl>
      <Steps state={p.state} />
      <dl class="figures">
        <dt>{t("disease-find-severity")}</dt>
        <dd>{p.severity === undefined ? t("core-not-said") : t(`walk-severity-${p.severity}`)}</dd>
        <dt>{t("disease-find-on")}</dt>
        <dd>{day(p.found_at, farm.info.zone)}</dd>
        {p.accuracy_m !== undefined && (
          <>
            <dt>{t("disease-find-accuracy")}</dt>
            <dd>{length(p.accuracy_m)}</dd>
          </>
        )}
      </dl>
      {p.cause === "other" && p.words && <Named {...props} />}
      {p.block && p.row !== undefined && p.plant !== undefined && <SamePlant {...props} block={p.block} row={p.row} plant={p.plant} />}
      <h3>{t("samples-of-find", { n: own.length })}</h3>
      <ul>
        {own.map((s) => (
          <li key={s.id}>
            <button type="button" class="link" onClick={() => go({ view: `sample:${s.id}` })}>
              {sampleName(s, t)}
            </button>
            <div class="soft">{resultOf(s, t)}</div>
          </li>
        ))}
      </ul>
      {mayWrite(role, "samples") && (
        <button type="button" onClick={() => go({ view: `sample:new:${find.id}` })}>
          {t("samples-take")}
        </button>
      )}
      {role === "adviser" ? <Decide {...props} /> : <p class="hint">{t("samples-who-confirms")}</p>}
      <History {...props} />
    </>
  );
}

const path = ["suspected", "sampled"] as const;

/** How far the proof has come: both ends stay in sight until one is reached. */
function Steps({ state }: { state: FindState }) {
  const t = useText();
  const last: readonly FindState[] = state === "confirmed" || state === "refuted" ? [state] : ["confirmed", "refuted"];
  return (
    <ol class="steps" aria-label={t("samples-steps")}>
      {path.map((s) => (
        <li key={s} aria-current={s === state ? "step" : undefined}>
          {t(`walk-state-${s}`)}
        </li>
      ))}
      <li aria-current={last.length === 1 ? "step" : undefined}>{last.map((s) => t(`walk-state-${s}`)).join(t("samples-or"))}</li>
    </ol>
  );
}

/** The words mean more than one thing: who may write the find says which. */
function Named({ farm, api, find }: OfFind) {
  const t = useText();
  const [problem, setProblem] = useState<unknown>(null);
  const choose = async (cause: Cause) => {
    setProblem(null);
    try {
      await farm.put("finds", { ...find.feature, properties: { ...find.feature.properties, cause } }, find, t("samples-named-why", { words: find.feature.properties.words ?? "" }));
      say(t("samples-named", { name: t(`walk-cause-${cause}`) }));
    } catch (thrown) {
      setProblem(thrown);
    }
  };
  const may = mayWrite(farm.info.role, "finds");
  return (
    <>
      <WhichName api={api} said={find.feature.properties.words ?? ""} is={find.feature.properties.cause} onCause={may ? (cause) => void choose(cause) : undefined} />
      {problem !== null && <ProblemNote problem={problem} />}
    </>
  );
}

/** Everything found on the same plant: several finds, one plant. */
function SamePlant({ farm, api, go, find, block, row, plant }: OfFind & { block: string; row: number; plant: number }) {
  const t = useText();
  const { now } = useAsked((options) => new Scouting(api).episodes(block, row, plant, options), [api, block, row, plant, find.revision]);
  const others = (now ?? []).flatMap((e) => e.finds.filter((f) => f.id !== find.id).map((f) => ({ ...f, name: e.name, plantState: e.state })));
  if (others.length === 0) return null;
  return (
    <>
      <h3>{t("samples-same-plant", { row: String(row), plant: String(plant) })}</h3>
      <p class="hint">{t("samples-same-plant-how")}</p>
      <ul>
        {others.map((f) => (
          <li key={f.id}>
            <button type="button" class="link" onClick={() => go({ view: `find:${f.id}` })}>
              {day(f.found_at, farm.info.zone)}
            </button>
            : {f.name}, {t(`walk-state-${f.state}`)}
            {f.words && (
              <>
                , <q>{f.words}</q>
              </>
            )}
          </li>
        ))}
      </ul>
    </>
  );
}

/** The adviser's word: what it is, and why. */
function Decide({ farm, api, map, find }: OfFind) {
  const t = useText();
  const p = find.feature.properties;
  const [cause, setCause] = useState<Cause>(p.cause);
  const [organism, setOrganism] = useState(p.organism ?? "");
  const [reason, setReason] = useState("");
  const [fault, setFault] = useState<string>();
  const [problem, setProblem] = useState<unknown>(null);
  const [said, setSaid] = useState("");
  const [busy, setBusy] = useState(false);

  const decide = async (state: FindState) => {
    if (!reason.trim()) return setFault(t("disease-decide-reason-missing"));
    setFault(undefined);
    setProblem(null);
    setSaid("");
    setBusy(true);
    try {
      const { organism: _, ...before } = p;
      // Only what is confirmed gets a name: a refuted find keeps what was suspected.
      const name = state === "confirmed" ? { ...before, cause, ...(organism ? { organism } : {}) } : p;
      await farm.put("finds", { ...find.feature, properties: { ...name, state } }, find, reason.trim());
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
      <h3>{t("disease-decide")}</h3>
      <Choice
        label={t("samples-cause")}
        value={cause}
        choices={causes.map((c) => ({ value: c, label: t(`walk-cause-${c}`) }))}
        onValue={(c) => {
          setCause(c);
          setOrganism("");
        }}
      />
      <OrganismChoice api={api} cause={cause} value={organism} fault={undefined} onValue={setOrganism} />
      <TextArea label={t("disease-decide-reason")} rows={2} value={reason} onValue={setReason} fault={fault} />
      <p role="status">{said}</p>
      {problem !== null && <ProblemNote problem={problem} map={map} />}
      <div class="buttons">
        <button type="button" disabled={busy} onClick={() => void decide("confirmed")}>
          {t("disease-confirm")}
        </button>
        <button type="button" disabled={busy} onClick={() => void decide("refuted")}>
          {t("disease-refute")}
        </button>
      </div>
    </>
  );
}

/** Each revision with what it said of the find, who wrote it, and the reason. */
function History({ farm, api, find }: OfFind) {
  const t = useText();
  const { now } = useAsked((options) => api.revisions("finds", find.id, options), [api, find.id, find.revision]);
  return (
    <>
      <h3>{t("samples-history")}</h3>
      <ol class="revisions" reversed>
        {now?.toReversed().map((e) => {
          const p = e.record?.properties as { cause: string; state: string } | undefined;
          return (
            <li key={e.revision}>
              <p>
                <b>{p ? `${named("walk-state-", p.state)}, ${named("walk-cause-", p.cause)}` : t("samples-closed")}</b>
              </p>
              <p>
                {moment(e.at, farm.info.zone)}, {e.by.name}
                {e.why && `: ${e.why}`}
              </p>
            </li>
          );
        })}
      </ol>
    </>
  );
}
