import { useEffect, useState } from "preact/hooks";
import type { RevisionEntry } from "../../api/client";
import { moment, named } from "../../i18n";
import type { Kind } from "../../model/kinds";
import { useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import type { PlaceProps } from "../place";
import { changes } from "../../model/differ";

/** Every revision of a record, newest first: who, when, why and what changed. */
export function Revisions({ farm, api, kind, id, name, newest }: Pick<PlaceProps, "farm" | "api"> & { kind: Kind; id: string; name: string; newest: number | null }) {
  const t = useText();
  const [entries, setEntries] = useState<readonly RevisionEntry[] | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const [again, setAgain] = useState(0);
  useEffect(() => {
    const stop = new AbortController();
    setEntries(null);
    setProblem(null);
    api.revisions(kind, id, { signal: stop.signal }).then(setEntries, (thrown: unknown) => {
      if (!stop.signal.aborted) setProblem(thrown);
    });
    return () => stop.abort();
  }, [api, kind, id, newest, again]);
  return (
    <section aria-live="polite">
      <h2>{t("papers-revisions", { name })}</h2>
      <p class="hint">{t("papers-revisions-note")}</p>
      {problem !== null && <ProblemNote problem={problem} onRetry={() => setAgain(again + 1)} />}
      {!entries && problem === null && <p>{t("core-loading")}</p>}
      {entries && (
        <ol class="revisions" reversed>
          {entries.toReversed().map((e, i, all) => (
            <li key={e.revision}>
              <Entry entry={e} before={all[i + 1]} zone={farm.info.zone} />
            </li>
          ))}
        </ol>
      )}
    </section>
  );
}

function Entry({ entry, before, zone }: { entry: RevisionEntry; before: RevisionEntry | undefined; zone: string }) {
  const t = useText();
  const by = typeof entry.by === "string" ? { name: entry.by } : (entry.by ?? {});
  const role = "role" in by && by.role ? named("core-role-", by.role) : "";
  const changed =
    before?.record && entry.record
      ? [
          ...changes(before.record.properties, entry.record.properties),
          ...(changes(before.record.geometry, entry.record.geometry).length > 0 ? [{ path: t("papers-shape"), before: undefined, after: undefined }] : []),
        ]
      : [];
  return (
    <>
      <p>
        <b>{moment(entry.at, zone)}</b>, {by.name ?? t("core-not-said")}
        {role && ` (${role})`}
        {entry.deleted ? `: ${t("papers-closed")}` : before ? "" : `: ${t("papers-created")}`}
      </p>
      {entry.why && <p>{t("papers-why", { why: entry.why })}</p>}
      {changed.length > 0 && (
        <ul>
          {changed.map((c) => (
            <li key={c.path}>
              {c.before === undefined && c.after === undefined
                ? t("papers-shape-changed")
                : t("papers-changed", { what: c.path, before: said(c.before), after: said(c.after) })}
            </li>
          ))}
        </ul>
      )}
    </>
  );

  function said(v: unknown): string {
    if (v === undefined || v === null) return "–";
    return typeof v === "string" ? v : JSON.stringify(v);
  }
}
