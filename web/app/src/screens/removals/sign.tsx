import { useEffect, useRef, useState } from "preact/hooks";
import { day, language, number } from "../../i18n";
import type { Stored } from "../../model/kinds";
import { uuid7 } from "../../model/uuid7";
import { MainAction } from "../../ui/action";
import { Cover } from "../../ui/cover";
import { Check, Choice, TextArea, TextField } from "../../ui/form";
import { useRecords, useSignal, useText, useUnits } from "../../ui/hooks";
import { Caution, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { length } from "../../units";
import type { PlaceProps } from "../place";
import { asked, type Choosing, decisionOf, type Proposal, propose, type Reach, type Section, sign } from "./wire";

interface SectionForm {
  readonly key: string;
  readonly firstRow: string;
  readonly lastRow: string;
  readonly from: string;
  readonly to: string;
  readonly limit: string;
  readonly reason: string;
}

interface Form {
  readonly reach: Reach;
  readonly marginReason: string;
  readonly sections: readonly SectionForm[];
  readonly whole: boolean;
  readonly wholeLimit: string;
  readonly wholeReason: string;
}

const nothing: Form = { reach: "margin", marginReason: "", sections: [], whole: false, wholeLimit: "", wholeReason: "" };

// What is left out is for the server to name, field by field.
const figure = (text: string): number => (text.trim() === "" ? Number.NaN : Number(text.replace(",", ".")));

function choosing(form: Form): Choosing {
  const section = (s: SectionForm): Section => ({
    first_row: figure(s.firstRow),
    last_row: figure(s.lastRow),
    from: figure(s.from),
    to: figure(s.to),
    limit: figure(s.limit) / 100,
    reason: s.reason,
  });
  return {
    reach: form.reach,
    ...(form.marginReason.trim() ? { margin_reason: form.marginReason.trim() } : {}),
    ...(form.sections.length > 0 ? { sections: form.sections.map(section) } : {}),
    ...(form.whole ? { planting: { limit: figure(form.wholeLimit) / 100, reason: form.wholeReason } } : {}),
  };
}

/** What the adviser is about to sign: worked out by the server, with the adviser's own choice, and signed as it was seen. */
export function Sign(props: PlaceProps) {
  const t = useText();
  useUnits();
  const { farm, api, address, go } = props;
  const block = farm.find("blocks", address.block);
  const reviews = useRecords(farm, "reviews");
  useRecords(farm, "blocks");
  const [form, setForm] = useState(nothing);
  const [shown, setShown] = useState<{ proposal: Proposal; form: Form } | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  const [confirming, setConfirming] = useState(false);
  const stopper = useRef<AbortController | null>(null);
  useEffect(() => () => stopper.current?.abort(), []);
  const ask = asked.get()?.block === address.block ? asked.get()!.body : { block: address.block };
  const spoken = useSignal(language);

  const workOut = async (of: Form) => {
    stopper.current?.abort();
    const stop = new AbortController();
    stopper.current = stop;
    setBusy(true);
    setProblem(null);
    try {
      setShown({ proposal: await propose(api, ask, choosing(of), stop.signal), form: of });
    } catch (thrown) {
      if (!stop.signal.aborted) {
        setShown(null);
        setProblem(thrown);
      }
    } finally {
      if (stopper.current === stop) setBusy(false);
    }
  };
  useEffect(() => {
    if (address.block) void workOut(form);
  }, [address.block, spoken]);

  if (!block) return <p>{t("disease-choose-block")}</p>;
  if (farm.info.role !== "adviser") return <p>{t("removals-adviser-only")}</p>;
  const fresh = shown !== null && shown.form === form;
  const list = shown?.proposal.list;
  const standing = decisionsInForce(reviews.list, block.id);
  const set = (change: Partial<Form>) => setForm({ ...form, ...change });
  return (
    <div class="removals">
      <h1>{t("removals-sign-title", { block: block.feature.properties.name })}</h1>
      <Choose form={form} set={set} proposal={shown?.proposal ?? null} />
      {!fresh && !busy && (
        <button type="button" class="big" onClick={() => void workOut(form)}>
          {t("removals-work-out")}
        </button>
      )}
      {busy && (
        <p role="status">
          <progress aria-label={t("removals-working")} /> {t("removals-working")}{" "}
          <button type="button" onClick={() => { stopper.current?.abort(); setBusy(false); }}>
            {t("core-stop")}
          </button>
        </p>
      )}
      {problem !== null && <ProblemNote problem={problem} onRetry={() => void workOut(form)} />}
      {shown && list && (
        <section aria-label={t("removals-list")}>
          <h2>{t("removals-list")}</h2>
          {shown.proposal.says.map((s) => (
            <p key={s}>{s}</p>
          ))}
          {list.remove.length > 0 && list.row_length_m !== null && list.share_of_block !== null && (
            <p>{t("removals-cost", { length: length(list.row_length_m), share: `${number(100 * list.share_of_block, 1)} %`, n: list.standing ?? 0 })}</p>
          )}
          <PlantTable list={list.remove} />
          {shown.proposal.analysis.cautions.map((c) => (
            <Caution key={c}>{c}</Caution>
          ))}
        </section>
      )}
      {confirming && shown && (
        <Confirm
          {...props}
          standing={standing}
          plants={list?.remove.length ?? 0}
          onClose={() => setConfirming(false)}
          onSign={async (how) => {
            const id = how.id;
            await sign(api, { ...how, ask, choice: choosing(form), basis: shown.proposal.basis });
            await farm.load("reviews", true);
            say(t("removals-signed"));
            go({ view: `decisions:${id}` });
          }}
        />
      )}
      <MainAction
        label={t("removals-sign", { n: list?.remove.length ?? 0 })}
        run={() => setConfirming(true)}
        busy={busy}
        blocked={!fresh && !busy ? t("removals-work-out-first") : undefined}
      />
    </div>
  );
}

/** The signed decisions about a block that no other has superseded. */
export function decisionsInForce(reviews: readonly Stored<"reviews">[], block: string) {
  const superseded = new Set(reviews.map((r) => decisionOf(r)?.supersedes));
  return reviews.flatMap((r) => {
    const d = decisionOf(r);
    return d && d.block === block && !superseded.has(r.id) ? [{ id: r.id, decision: d }] : [];
  });
}

function Choose({ form, set, proposal }: { form: Form; set: (c: Partial<Form>) => void; proposal: Proposal | null }) {
  const t = useText();
  const proposed = proposal?.analysis.list;
  const change = (key: string, c: Partial<SectionForm>) => set({ sections: form.sections.map((s) => (s.key === key ? { ...s, ...c } : s)) });
  const add = (s: Partial<SectionForm>) => set({ sections: [...form.sections, { key: uuid7(), firstRow: "", lastRow: "", from: "", to: "", limit: "", reason: "", ...s }] });
  return (
    <>
      <Choice
        label={t("removals-reach")}
        value={form.reach}
        choices={(["confirmed", "between", "margin"] as const).map((value) => ({ value, label: t(`removals-reach-${value}`) }))}
        onValue={(reach) => set({ reach })}
      />
      {form.reach === "margin" && (proposed?.margin.length ?? 0) > 0 && (
        <TextArea label={t("removals-margin-reason")} rows={2} value={form.marginReason} onValue={(marginReason) => set({ marginReason })} />
      )}
      <details open={form.sections.length > 0 || form.whole}>
        <summary>{t("removals-ground")}</summary>
        <p class="hint">{t("removals-ground-why")}</p>
        {form.sections.map((s, i) => (
          <fieldset key={s.key}>
            <legend>{t("removals-section", { n: i + 1 })}</legend>
            <div class="four">
              <TextField label={t("removals-first-row")} inputMode="numeric" value={s.firstRow} onValue={(firstRow) => change(s.key, { firstRow })} />
              <TextField label={t("removals-last-row")} inputMode="numeric" value={s.lastRow} onValue={(lastRow) => change(s.key, { lastRow })} />
              <TextField label={t("removals-from")} inputMode="numeric" value={s.from} onValue={(from) => change(s.key, { from })} />
              <TextField label={t("removals-to")} inputMode="numeric" value={s.to} onValue={(to) => change(s.key, { to })} />
            </div>
            <TextField label={t("removals-limit")} hint={t("removals-limit-why")} unit="%" inputMode="decimal" value={s.limit} onValue={(limit) => change(s.key, { limit })} />
            <TextField label={t("removals-reason")} value={s.reason} onValue={(reason) => change(s.key, { reason })} />
            <button type="button" onClick={() => set({ sections: form.sections.filter((o) => o.key !== s.key) })}>
              {t("removals-section-drop", { n: i + 1 })}
            </button>
          </fieldset>
        ))}
        <p class="buttons">
          {(proposal?.analysis.groups ?? []).map((g) => {
            const plants = g.finds.map((p) => p.plant);
            return (
              <button
                key={g.number}
                type="button"
                onClick={() =>
                  add({ firstRow: String(g.finds[0]!.row), lastRow: String(g.finds.at(-1)!.row), from: String(Math.min(...plants)), to: String(Math.max(...plants)) })
                }
              >
                {t("removals-section-group", { n: g.number + 1 })}
              </button>
            );
          })}
          <button type="button" onClick={() => add({})}>
            {t("removals-section-new")}
          </button>
        </p>
        <Check label={t("removals-whole")} hint={t("removals-whole-why")} checked={form.whole} onChecked={(whole) => set({ whole })} />
        {form.whole && (
          <>
            <TextField label={t("removals-limit")} hint={t("removals-limit-why")} unit="%" inputMode="decimal" value={form.wholeLimit} onValue={(wholeLimit) => set({ wholeLimit })} />
            <TextField label={t("removals-reason")} value={form.wholeReason} onValue={(wholeReason) => set({ wholeReason })} />
          </>
        )}
      </details>
    </>
  );
}

/** Plants and why each goes. */
export function PlantTable({ list, out }: { list: Proposal["list"]["remove"]; out?: (row: number, plant: number) => string }) {
  const t = useText();
  if (list.length === 0) return null;
  return (
    <table>
      <caption>{t("removals-table", { n: list.length })}</caption>
      <thead>
        <tr>
          <th scope="col" class="figure">{t("removals-row")}</th>
          <th scope="col" class="figure">{t("removals-plant")}</th>
          <th scope="col">{t("removals-why")}</th>
          {out && <th scope="col">{t("removals-out")}</th>}
        </tr>
      </thead>
      <tbody>
        {list.map((p) => (
          <tr key={`${p.row}-${p.plant}`}>
            <td class="figure">{number(p.row, 0)}</td>
            <td class="figure">{number(p.plant, 0)}</td>
            <td>{t(`removals-why-${p.why}`)}</td>
            {out && <td>{out(p.row, p.plant)}</td>}
          </tr>
        ))}
      </tbody>
    </table>
  );
}

interface ConfirmProps extends PlaceProps {
  readonly standing: ReturnType<typeof decisionsInForce>;
  readonly plants: number;
  readonly onClose: () => void;
  readonly onSign: (how: { id: string; reasons: string; name: string; supersedes?: string }) => Promise<void>;
}

/** Signing is not taken back: it is asked for once more, in words, with reasons and a name typed under it. */
function Confirm({ farm, standing, plants, onClose, onSign }: ConfirmProps) {
  const t = useText();
  // The same id for every try: a lost answer does not sign twice.
  const [id] = useState(uuid7);
  const [reasons, setReasons] = useState("");
  const [name, setName] = useState("");
  const [supersedes, setSupersedes] = useState(standing[0]?.id ?? "");
  const [read, setRead] = useState(false);
  const [missing, setMissing] = useState<{ reasons?: string; name?: string; read?: string }>({});
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  const signNow = async () => {
    const wrong: typeof missing = {};
    if (!reasons.trim()) wrong.reasons = t("removals-reasons-missing");
    if (name.trim().length < 2) wrong.name = t("removals-name-missing");
    if (!read) wrong.read = t("removals-read-missing");
    setMissing(wrong);
    if (Object.keys(wrong).length > 0) return;
    setBusy(true);
    setProblem(null);
    try {
      await onSign({ id, reasons: reasons.trim(), name: name.trim(), ...(supersedes ? { supersedes } : {}) });
    } catch (thrown) {
      setProblem(thrown);
      setBusy(false);
    }
  };
  return (
    <Cover title={t("removals-confirm-title", { n: plants })} onClose={onClose}>
      <div class="whole-note removals">
        <h1>{t("removals-confirm-title", { n: plants })}</h1>
        <Caution>{t("removals-no-undo")}</Caution>
        <TextArea label={t("removals-reasons")} hint={t("removals-reasons-how")} rows={4} value={reasons} fault={missing.reasons} onValue={setReasons} />
        {standing.length > 0 && (
          <Choice
            label={t("removals-supersedes")}
            value={supersedes}
            empty={t("removals-supersedes-none")}
            choices={standing.map((s) => ({ value: s.id, label: t("removals-decision-of", { name: s.decision.signed_by.name, day: day(s.decision.signed_at, farm.info.zone), n: s.decision.list.remove.length }) }))}
            onValue={setSupersedes}
          />
        )}
        <TextField label={t("removals-name")} hint={t("removals-name-how", { account: farm.who.person.display || farm.who.person.name })} value={name} fault={missing.name} onValue={setName} />
        <Check label={t("removals-read", { n: plants })} checked={read} onChecked={setRead} />
        {missing.read && (
          <p class="fault" role="alert">
            <span class="word stop">✕ {t("core-stop-word")}</span> {missing.read}
          </p>
        )}
        {problem !== null && <ProblemNote problem={problem} />}
        <div class="buttons">
          <button type="button" class="big" onClick={onClose}>
            {t("core-cancel")}
          </button>
          <button type="button" class="big main" disabled={busy} aria-busy={busy} onClick={() => void signNow()}>
            {t("removals-sign-now", { n: plants })}
          </button>
        </div>
      </div>
    </Cover>
  );
}
