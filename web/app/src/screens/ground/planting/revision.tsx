import type { Conflict, Revision } from "../../../api/planting";
import { day, moment, named, number } from "../../../i18n";
import type { FarmMap } from "../../../map/farmmap";
import type { Farm } from "../../../model/farm";
import type { Kind } from "../../../model/kinds";
import { useRecords, useText } from "../../../ui/hooks";
import { Mark } from "../../../ui/notes";
import { boxOf } from "../../../geo/box";

// More lines than this say no more than their number does.
const mostLines = 200;

/** What laying out anew does to the rows on record, and which records it would leave without a place. */
export function RevisionNote({ revision, farm, map }: { revision: Revision; farm: Farm; map: FarmMap }) {
  const t = useText();
  for (const kind of ["finds", "visits", "removals"] as const) useRecords(farm, kind);
  const places = (list: Revision["added"]) => list.reduce((n, s) => n + s.to - s.from + 1, 0);
  const counts = [
    ["planting-kept", number(revision.kept), ""],
    ["planting-moved", number(revision.moved.length), numbers(revision.moved.map((m) => m.row))],
    ["planting-added", number(places(revision.added)), stretchesText(revision.added)],
    ["planting-gone", number(places(revision.gone)), stretchesText(revision.gone)],
    ["planting-dropped", number(revision.dropped.length), numbers(revision.dropped.map((d) => d.row))],
  ] as const;
  const show = (kind: string, id: string) => {
    const shape = farm.find(kind as Kind, id)?.feature.geometry;
    const box = shape ? boxOf([shape]) : null;
    if (box) map.goTo([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2]);
    if (kind === "finds") map.choose({ layer: "finds", id });
  };
  return (
    <>
      <dl class="figures">
        {counts.map(([key, n, which]) => [
          <dt key={key}>{t(key)}</dt>,
          <dd key={`${key} n`}>
            <strong>{n}</strong>
            {which && <div class="soft">{which}</div>}
          </dd>,
        ])}
      </dl>
      <p class="hint">{revision.how ?? t("planting-changed-how")}</p>
      {revision.conflicts.length > 0 && (
        <div class="problem" role="alert">
          <p>
            <Mark answer="caution" /> <strong>{t("planting-conflicts", { n: revision.conflicts.length })}</strong>
          </p>
          <ul>
            {revision.conflicts.slice(0, mostLines).map((c) => (
              <li key={`${c.id} ${c.row} ${c.plant}`}>
                {inWords(c, farm, t)}{" "}
                {farm.find(c.kind as Kind, c.id)?.feature.geometry && (
                  <button type="button" class="link" onClick={() => show(c.kind, c.id)}>
                    {t("planting-conflict-show")}
                  </button>
                )}
              </li>
            ))}
          </ul>
        </div>
      )}
    </>
  );
}

/** The record in the way as people know it; the server's own words where it is not known here. */
function inWords(c: Conflict, farm: Farm, t: ReturnType<typeof useText>): string {
  const what = whatIs(c, farm, t);
  if (!what) return c.text;
  return c.plant > 0 ? t("planting-conflict-plant", { row: String(c.row), plant: String(c.plant), what }) : t("planting-conflict-row", { row: String(c.row), what });
}

function whatIs(c: Conflict, farm: Farm, t: ReturnType<typeof useText>): string | null {
  const { zone } = farm.info;
  if (c.kind === "finds") {
    const p = farm.find("finds", c.id)?.feature.properties;
    return p ? [named("walk-cause-", p.cause), named("walk-state-", p.state), day(p.found_at, zone)].join(", ") : null;
  }
  if (c.kind === "visits") {
    const p = farm.find("visits", c.id)?.feature.properties;
    return p ? t("plants-visit", { when: moment(p.started_at, zone) }) : null;
  }
  const p = c.kind === "removals" ? farm.find("removals", c.id)?.feature.properties : undefined;
  return p?.done_on ? t("plants-removed-on", { day: day(p.done_on) }) : null;
}

// Longer lists than this are no help; the map shows them.
const mostShown = 24;

function shortened(words: readonly string[]): string {
  return words.length > mostShown ? `${words.slice(0, mostShown).join(", ")} …` : words.join(", ");
}

const numbers = (rows: readonly number[]) => shortened(rows.map(String));
const stretchesText = (list: Revision["added"]) => shortened(list.map((s) => (s.from === s.to ? `${s.row}:${s.from}` : `${s.row}:${s.from}–${s.to}`)));
