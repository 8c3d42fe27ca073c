import { useState } from "preact/hooks";
import { type Programme, type Programmes as Wire, Scouting } from "../../api/scouting";
import { asProblem } from "../../api/problem";
import { isKey, named, number } from "../../i18n";
import { MainAction } from "../../ui/action";
import { type Asked, useAsked } from "../../ui/asked";
import { useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { DataTable } from "../papers/datatable";
import type { Column } from "../papers/table";
import type { PlaceProps } from "../place";
import { ProgrammeFields } from "./programmefields";
import { emptyForm, formOf, idOf, newId, type ProgrammeForm, readForm, using, withoutProgramme, withProgramme } from "./programme";
import "./scoutplan.css";

/** What is counted on this farm; the owner and the adviser change it. */
export function Programmes(props: PlaceProps) {
  const t = useText();
  const { api, address } = props;
  const asked = useAsked((options) => new Scouting(api).programmes(options), [api]);
  const { now, problem, again } = asked;
  const id = address.view?.split(":")[1];
  if (!now) return problem ? <ProblemNote problem={problem} onRetry={again} /> : <p>{t("core-loading")}</p>;
  if (id === undefined) return <List {...props} now={now} />;
  const one = [...now.programmes, ...now.unused].find((p) => p.id === id);
  if (!one && id !== "new") return <p>{t("scoutplan-programme-gone")}</p>;
  return <One key={id} {...props} now={now} asked={asked} one={one} />;
}

/** Whether a role may change the farm's list; the server decides. */
const mayEdit = (role: string) => role === "owner" || role === "adviser";

function List({ farm, go, now }: PlaceProps & { now: Wire }) {
  const t = useText();
  const all = [...now.programmes, ...now.unused];
  const columns: Column<Programme>[] = [
    { key: "title", head: t("scoutplan-title"), cell: (p) => p.title },
    { key: "level", head: t("scoutplan-level"), cell: (p) => p.level, show: (p) => levelText(p, t) },
    { key: "cause", head: t("scoutplan-cause"), cell: (p) => causeText(p.cause) },
    { key: "stage", head: t("scoutplan-stage"), cell: (p) => p.stage },
    { key: "source", head: t("scoutplan-source"), cell: (p) => p.source },
    { key: "own", head: t("scoutplan-whose"), cell: (p) => t(now.unused.includes(p) ? "scoutplan-unused" : p.own ? "scoutplan-own" : "scoutplan-built-in") },
  ];
  return (
    <>
      <h1>{t("scoutplan-programmes-title")}</h1>
      <p>{t("scoutplan-programmes-why")}</p>
      <DataTable
        caption={t("scoutplan-programmes")}
        columns={columns}
        rows={all}
        keyOf={(p) => p.id}
        file={`${farm.id}-programmes`}
        onChoose={(p) => go({ view: `programmes:${p.id}` })}
        chooseName={(p) => t("scoutplan-open", { title: p.title })}
      />
      {mayEdit(farm.info.role) ? <MainAction label={t("scoutplan-new")} run={() => go({ view: "programmes:new" })} /> : <p class="hint">{t("scoutplan-who-edits")}</p>}
    </>
  );
}

/** A disease as finds name it, or a pest; the farm's own word where it is neither. */
function causeText(cause: string): string {
  return isKey(`walk-cause-${cause}`) ? named("walk-cause-", cause) : named("scoutplan-pest-", cause);
}

/** The action level in words. */
export function levelText(p: Programme, t: ReturnType<typeof useText>): string {
  if (p.any) return t("scoutplan-level-any");
  if (p.level === null) return t("scoutplan-level-none");
  return t(p.at_least ? "scoutplan-level-from" : "scoutplan-level-above", { level: rateText(p.level, p, t) });
}

/** A rate as people read it: a share in percent, a mean to one thing looked at. */
export function rateText(rate: number, p: Pick<Programme, "method" | "unit">, t: ReturnType<typeof useText>): string {
  return p.method === "binomial" ? t("scoutplan-percent", { n: number(rate * 100, 2) }) : number(rate, 3);
}

function One({ farm, api, go, now, asked, one }: PlaceProps & { now: Wire; asked: Asked<Wire>; one: Programme | undefined }) {
  const t = useText();
  const [form, setForm] = useState<ProgrammeForm>(one ? formOf(one) : emptyForm);
  const [why, setWhy] = useState("");
  const [faults, setFaults] = useState<Partial<Record<keyof ProgrammeForm, string>>>({});
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  const may = mayEdit(farm.info.role);
  const unused = one && now.unused.some((p) => p.id === one.id);

  const put = async (edits: Wire["edits"], done: string) => {
    setProblem(null);
    setBusy(true);
    try {
      asked.take(await new Scouting(api).putProgrammes(edits, now.etag, why.trim()));
      say(done);
      go({ view: "programmes" });
    } catch (thrown) {
      setProblem(thrown);
      throw thrown;
    } finally {
      setBusy(false);
    }
  };
  const save = async () => {
    const read = readForm(form);
    if (!read.ok) {
      const said = [...read.missing.map((k) => [k, t("scoutplan-missing")]), ...read.noNumber.map((k) => [k, t("scoutplan-no-number")])];
      return setFaults(Object.fromEntries(said));
    }
    setFaults({});
    const id = one?.id ?? newId(form.title, [...now.programmes, ...now.unused].map((p) => p.id));
    const { edits, index } = withProgramme(now.edits, { ...read.programme, id, cause: idOf(form.cause) });
    await put(edits, t("scoutplan-saved", { title: form.title })).catch((thrown: unknown) => {
      // The server counts the farm's programmes; here there is one.
      const prefix = `programmes[${index}].`;
      const own = asProblem(thrown).errors.filter((e) => e.field?.startsWith(prefix));
      setFaults(Object.fromEntries(own.map((e) => [e.field!.slice(prefix.length), e.detail])));
    });
  };
  const placed = problem ? asProblem(problem).errors.flatMap((e) => (e.field && e.field.replace(/^programmes\[\d+\]\./, "") in faults ? [e.field] : [])) : [];
  // What is typed stays; the newest list is what it is put into.
  const fetchAnew = () => {
    setProblem(null);
    asked.again();
  };
  const quietly = (work: Promise<void>) => void work.catch(() => undefined);
  return (
    <>
      <h1>{one ? t("scoutplan-one-title", { title: one.title }) : t("scoutplan-new-title")}</h1>
      {one && (
        <p>
          {t("scoutplan-level")}: {levelText(one, t)}; {t(unused ? "scoutplan-unused" : one.own ? "scoutplan-own" : "scoutplan-built-in")}.
        </p>
      )}
      <ProgrammeFields form={form} faults={faults} readOnly={!may} onForm={setForm} causes={[...new Set([...now.programmes, ...now.unused].map((p) => p.cause))]} why={why} onWhy={setWhy} />
      {problem !== null && <ProblemNote problem={problem} fields={placed} {...(asProblem(problem).stale ? { onRetry: fetchAnew } : {})} />}
      {may && one && (
        <div class="buttons">
          <button type="button" disabled={busy} onClick={() => quietly(put(using(now.edits, one.id, Boolean(unused)), t(unused ? "scoutplan-used-again" : "scoutplan-left-out", { title: one.title })))}>
            {t(unused ? "scoutplan-use" : "scoutplan-leave-out")}
          </button>
          {one.own && (
            <button type="button" disabled={busy} onClick={() => quietly(put(withoutProgramme(now.edits, one.id), t("scoutplan-put-back", { title: one.title })))}>
              {t(one.built_in ? "scoutplan-as-it-came" : "scoutplan-drop")}
            </button>
          )}
        </div>
      )}
      {may ? <MainAction label={t("scoutplan-save")} run={() => void save()} busy={busy} /> : <p class="hint">{t("scoutplan-who-edits")}</p>}
    </>
  );
}
