import { useState } from "preact/hooks";
import { type Copies, type KeptState, Keeping, type Seen } from "../../api/keeping";
import { asProblem } from "../../api/problem";
import { moment, named, number } from "../../i18n";
import { useAsked } from "../../ui/asked";
import { TextField } from "../../ui/form";
import { useText } from "../../ui/hooks";
import { faultOf, Mark, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { DataTable } from "../papers/datatable";
import type { Column } from "../papers/table";
import type { PlaceProps } from "../place";
import "./keep.css";

/** So many of the newest lines of the list are shown; the file holds all. */
const seenShown = 300;

/** What the owner can know and do about the farm as a whole. */
export function KeptFarm(props: PlaceProps) {
  const t = useText();
  const { api } = props;
  const asked = useAsked((options) => new Keeping(api).state(options), [api]);
  const { now, problem, again } = asked;
  if (!now) return problem ? <ProblemNote problem={problem} onRetry={again} /> : <p>{t("core-loading")}</p>;
  return (
    <>
      <h1>{t("keep-title")}</h1>
      <Take {...props} />
      {now.copies && <CopyState copies={now.copies} zone={props.farm.info.zone} />}
      {now.history && <History history={now.history} />}
      {now.empty && <BringIn {...props} />}
      <WhoSaw {...props} />
      <Erase {...props} now={now} take={asked.take} />
    </>
  );
}

function Take({ api }: PlaceProps) {
  const t = useText();
  return (
    <section class="keep">
      <h2>{t("keep-take")}</h2>
      <p>{t("keep-take-holds")}</p>
      <a class="keep-link" href={api.path("exports/everything.zip")} download>
        {t("keep-take-file")}
      </a>
      <p class="hint">{t("keep-take-care")}</p>
    </section>
  );
}

function CopyState({ copies, zone }: { copies: Copies; zone: string }) {
  const t = useText();
  return (
    <section class="keep">
      <h2>{t("keep-copies")}</h2>
      {copies.trouble ? (
        <p>
          <Mark answer="caution" /> {copies.trouble}
        </p>
      ) : (
        <p>
          <Mark answer="ok" /> {t("keep-copies-made")}
        </p>
      )}
      {copies.made_here && (
        <dl>
          <dt>{t("keep-copies-last")}</dt>
          <dd>{copies.last ? moment(copies.last, zone) : t("keep-never")}</dd>
          <dt>{t("keep-copies-every")}</dt>
          <dd>{t("keep-minutes", { n: copies.every_s / 60 })}</dd>
          <dt>{t("keep-copies-number")}</dt>
          <dd>{copies.oldest ? t("keep-copies-since", { n: copies.copies, day: moment(copies.oldest, zone) }) : number(0)}</dd>
          <dt>{t("keep-copies-rule")}</dt>
          <dd>{copies.keep}</dd>
        </dl>
      )}
    </section>
  );
}

function History({ history }: { history: NonNullable<KeptState["history"]> }) {
  const t = useText();
  return (
    <section class="keep">
      <h2>{t("keep-history")}</h2>
      <p>{t("keep-history-chain", { n: history.sequence })}</p>
      {history.says && <p>{history.says}</p>}
      {history.head && (
        <p class="keep-hash">
          <code>{history.head}</code>
        </p>
      )}
      {history.head && <p class="hint">{t("keep-history-note")}</p>}
    </section>
  );
}

/** An empty farm takes over the history of another. */
function BringIn({ api }: PlaceProps) {
  const t = useText();
  const [file, setFile] = useState<File | undefined>();
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<unknown>(null);
  const bring = async () => {
    if (!file) return;
    setBusy(true);
    setProblem(null);
    try {
      await new Keeping(api).bringIn(file);
      // Name, zone and every record are others now.
      location.reload();
    } catch (thrown) {
      setProblem(thrown);
      setBusy(false);
    }
  };
  return (
    <section class="keep">
      <h2>{t("keep-bring")}</h2>
      <div class="field">
        <label for="keep-archive">{t("keep-bring-file")}</label>
        <input id="keep-archive" type="file" accept=".zip,application/zip" aria-describedby="keep-archive-hint" onChange={(e) => setFile(e.currentTarget.files?.[0])} />
        <p class="hint" id="keep-archive-hint">
          {t("keep-bring-hint")}
        </p>
      </div>
      <ProblemNote problem={problem} />
      <button type="button" disabled={!file || busy} aria-busy={busy} onClick={() => void bring()}>
        {t("keep-bring-do")}
      </button>
    </section>
  );
}

function WhoSaw({ api, farm }: PlaceProps) {
  const t = useText();
  const { now, problem, again } = useAsked((options) => new Keeping(api).seen(seenShown, options), [api]);
  const zone = farm.info.zone;
  const columns: Column<Seen>[] = [
    { key: "last", head: t("keep-seen-last"), cell: (e) => e.last, show: (e) => moment(e.last, zone) },
    { key: "name", head: t("keep-seen-who"), cell: (e) => (e.token ? t("keep-seen-token", { name: e.name, token: e.token }) : e.name) },
    { key: "did", head: t("keep-seen-did"), cell: (e) => t(e.refused ? "keep-seen-refused" : e.changes ? "keep-seen-changed" : "keep-seen-read") },
    { key: "kind", head: t("keep-seen-kind"), cell: (e) => (e.kind ? named("papers-kind-", e.kind) : "") },
    { key: "times", head: t("keep-seen-times"), cell: (e) => e.times },
    { key: "records", head: t("keep-seen-records"), cell: (e) => e.records },
    { key: "role", head: t("keep-seen-role"), cell: (e) => named("core-role-", e.role) },
    { key: "what", head: t("keep-seen-what"), cell: (e) => e.what },
  ];
  return (
    <section class="keep">
      <h2>{t("keep-seen")}</h2>
      <ProblemNote problem={problem} onRetry={again} />
      {!now && !problem && <p>{t("core-loading")}</p>}
      {now && (
        <>
          <p>{now.says}</p>
          <p>{t("keep-seen-kept", { n: now.kept_days })}</p>
          <a class="keep-link" href={api.path("reports/audit.csv")} download>
            {t("keep-seen-file", { n: now.total })}
          </a>
          {now.entries.length > 0 && (
            <DataTable
              caption={t("keep-seen-newest")}
              under
              columns={columns}
              rows={now.entries}
              keyOf={(e) => [e.hour, e.name, e.token, e.what, e.kind, e.refused].join(" ")}
              file={`${farm.id}-audit`}
            />
          )}
        </>
      )}
    </section>
  );
}

function Erase({ api, farm, now, take }: PlaceProps & { now: KeptState; take: (now: KeptState) => void }) {
  const t = useText();
  const [typed, setTyped] = useState("");
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<unknown>(null);
  const doing = async (what: () => Promise<KeptState>, done: string) => {
    setBusy(true);
    setProblem(null);
    try {
      take(await what());
      setTyped("");
      say(done);
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };
  const leaving = now.leaving;
  const fault = problem ? faultOf(asProblem(problem), "farm") : undefined;
  return (
    <section class="keep">
      <h2>{t("keep-erase")}</h2>
      {leaving ? (
        <>
          <p>
            <Mark answer="caution" /> {t("core-farm-leaving", { when: moment(leaving.at, farm.info.zone), who: leaving.by })}
          </p>
          <p>{leaving.says}</p>
        </>
      ) : (
        <>
          <p>{t("keep-erase-how", { n: now.erase_days })}</p>
          <TextField label={t("keep-erase-type", { farm: farm.id })} value={typed} onValue={setTyped} fault={fault} />
        </>
      )}
      {!fault && <ProblemNote problem={problem} />}
      {leaving ? (
        <button type="button" disabled={busy} onClick={() => void doing(() => new Keeping(api).takeBackErasure(), t("keep-erase-stays"))}>
          {t("keep-erase-keep")}
        </button>
      ) : (
        <button type="button" class="stop" disabled={busy || typed === ""} onClick={() => void doing(() => new Keeping(api).askErasure(typed.trim()), t("keep-erase-asked"))}>
          {t("keep-erase-do", { n: now.erase_days })}
        </button>
      )}
    </section>
  );
}
