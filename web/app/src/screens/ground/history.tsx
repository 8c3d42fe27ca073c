import { useEffect, useState } from "preact/hooks";
import type { RevisionEntry } from "../../api/client";
import { moment, named, type Key } from "../../i18n";
import { isKey } from "../../i18n";
import type { Stored } from "../../model/kinds";
import { useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import type { PlaceProps } from "../place";

const fieldNames: Record<string, Key> = {
  name: "ground-name",
  crop: "ground-crop",
  cultivar: "ground-cultivar",
  planted_on: "ground-planted-on",
  outline_follows: "ground-follows",
  row_spacing_m: "ground-row-spacing",
  plant_spacing_m: "ground-plant-spacing",
  row_bearing_deg: "ground-bearing",
  first_row_side: "ground-first-row",
  first_plant_end: "ground-first-plant",
};

/** Names of what differs between two revisions: "geometry", and properties. */
export function changed(before: RevisionEntry, after: RevisionEntry): string[] {
  const [a, b] = [before.record, after.record];
  const same = (x: unknown, y: unknown) => JSON.stringify(x) === JSON.stringify(y);
  const pa = (a?.properties ?? {}) as unknown as Record<string, unknown>;
  const pb = (b?.properties ?? {}) as unknown as Record<string, unknown>;
  const names = [...new Set([...Object.keys(pa), ...Object.keys(pb)])].filter((k) => !same(pa[k], pb[k])).sort();
  return same(a?.geometry, b?.geometry) ? names : ["geometry", ...names];
}

/** Every revision of a block, newest first; nothing is ever erased. */
export function HistorySheet({ farm, api, map, go, block }: PlaceProps & { block: Stored<"blocks"> }) {
  const t = useText();
  const [entries, setEntries] = useState<readonly RevisionEntry[] | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const [shown, setShown] = useState<number | null>(null);
  useEffect(() => {
    const stop = new AbortController();
    api.revisions("blocks", block.id, { signal: stop.signal }).then(setEntries, (e: unknown) => {
      if (!stop.signal.aborted) setProblem(e);
    });
    return () => stop.abort();
  }, [api, block.id, block.revision]);
  useEffect(() => {
    const old = entries?.find((e) => e.revision === shown)?.record;
    map.setOverlay("old outline", old?.geometry ? [{ geometry: old.geometry }] : null, "preview");
    return () => map.setOverlay("old outline", null);
  }, [map, entries, shown]);
  const label = (name: string) => {
    const key = fieldNames[name];
    if (name === "geometry") return t("ground-history-outline");
    return key && isKey(key) ? t(key).toLowerCase() : name;
  };
  return (
    <>
      <p>
        <button type="button" class="link" onClick={() => go({ view: undefined })}>
          ← {block.feature.properties.name}
        </button>
      </p>
      <h1>{t("ground-history-title", { name: block.feature.properties.name })}</h1>
      <ProblemNote problem={problem} />
      {!entries && !problem && <p>{t("core-loading")}</p>}
      <ol class="plain">
        {(entries ?? []).map((e, i, all) => {
          const before = all[i - 1];
          const what = e.deleted
            ? t("ground-history-deleted")
            : !before || before.deleted
              ? t("ground-history-created")
              : t("ground-history-changed", { what: changed(before, e).map(label).join(", ") || t("core-none") });
          return (
            <li key={e.revision} class="entry">
              <div>
                <strong>{t("ground-history-rev", { n: e.revision })}</strong>: {what}
              </div>
              <div class="soft">
                {t("ground-history-by", { name: `${e.by.name} (${named("core-role-", e.by.role)})`, when: moment(e.at, farm.info.zone) })}
              </div>
              {e.why && <div>{t("ground-history-why", { why: e.why })}</div>}
              {e.record?.geometry && (
                <button type="button" class="link" aria-pressed={undefined} onClick={() => setShown(shown === e.revision ? null : e.revision)}>
                  {t("ground-history-show")}
                </button>
              )}
            </li>
          );
        }).toReversed()}
      </ol>
    </>
  );
}
