import { Fragment } from "preact";
import { number } from "../../i18n";
import { useText } from "../../ui/hooks";
import { Caution } from "../../ui/notes";
import { How } from "../../ui/how";
import { share } from "../../units";
import { DataTable } from "../papers/datatable";
import type { Column } from "../papers/table";
import type { Answer, Counts, RowRuns, Window } from "./answer";
import { type Group, type Listed, listed, plantKey, spoken } from "./evidence";

// Shape beside the word, so that the list reads in grey and on paper: filled is
// confirmed, hollow is suspected, as on the map.
const reasonShapes = { confirmed: "◆", suspected: "◇", between: "▪", margin: "□", inspect: "○" } as const;

/** Why a plant is listed; a find that is not confirmed is looked at again, never taken out. */
const whyOf = (p: Listed) => (p.reason === "inspect" && p.find ? "suspected" : p.reason);

export interface Chosen {
  readonly group?: number;
  readonly plant?: { readonly row: number; readonly plant: number };
}

/** p as it is read: never with more digits than the reshuffles give. */
const pText = (p: number) => number(p, 3);

export function Shown(props: {
  readonly answer: Answer;
  readonly minFinds: string;
  readonly chosen: Chosen;
  readonly onChosen: (chosen: Chosen) => void;
  readonly file: string;
}) {
  const t = useText();
  const { answer } = props;
  const list = listed(answer.list, answer.groups, answer.isolated);
  const count = { confirmed: answer.list.confirmed.length, between: answer.list.between.length, margin: answer.list.margin.length };
  return (
    <section>
      {answer.cautions.length === 0 && <Caution>{t("disease-caution-7")}</Caution>}
      {answer.cautions.map((c) => (
        <Caution key={c}>{c}</Caution>
      ))}
      <dl class="figures">
        <dt>{t("disease-looked")}</dt>
        <dd>
          <How formula={t("disease-looked-how")} source={t("disease-source")}>
            {number(answer.inspected)}
          </How>
        </dd>
        {(["confirmed", "sampled", "suspected"] as const).map((state) => (
          <Fragment key={state}>
            <dt>{t(`disease-state-${state}`)}</dt>
            <dd>{number(answer.states[state])}</dd>
          </Fragment>
        ))}
        <dt>{t("disease-infected")}</dt>
        <dd>{number(answer.infected)}</dd>
        {answer.gone.length > 0 && (
          <>
            <dt>{t("disease-gone")}</dt>
            <dd>{number(answer.gone.length)}</dd>
          </>
        )}
        {answer.inspected > 0 && (
          <>
            <dt>{t("disease-share")}</dt>
            <dd>
              <How formula={t("disease-share-how")} source={t("disease-source")}>
                {share(answer.counted, answer.inspected)}
              </How>
            </dd>
          </>
        )}
        {answer.unseen !== null && (
          <>
            <dt>{t("disease-unseen")}</dt>
            <dd>
              <How formula={t("disease-unseen-how")} source={t("disease-source")}>
                {number(answer.unseen)}
              </How>
            </dd>
          </>
        )}
      </dl>
      {answer.inspected > 0 && (
        <p>
          {t("disease-rate-line", {
            low: number(100 * answer.rate.low, 1),
            high: number(100 * answer.rate.high, 1),
          })}
        </p>
      )}
      {answer.whyNoP && <p>{t("disease-no-p", { why: answer.whyNoP })}</p>}
      {answer.how && <p class="hint">{answer.how}</p>}
      {answer.unresolved.length > 0 && (
        <details>
          <summary>{t("disease-unresolved", { n: answer.unresolved.length })}</summary>
          <ul>
            {answer.unresolved.map((u) => (
              <li key={u.id}>{u.why}</li>
            ))}
          </ul>
        </details>
      )}
      <Groups {...props} />
      {list.length === 0 && (
        <>
          <h2>{t("disease-list")}</h2>
          <p>{answer.whyNoList || t("disease-list-empty")}</p>
        </>
      )}
      {list.length > 0 && (
        <DataTable
          caption={t("disease-list")}
          columns={listColumns(t)}
          rows={list}
          keyOf={plantKey}
          file={`${props.file}-list`}
          chosen={props.chosen.plant && plantKey(props.chosen.plant)}
          onChoose={(p) => props.onChosen({ plant: { row: p.row, plant: p.plant } })}
          chooseName={(p) => t("disease-show", { row: String(p.row), plant: String(p.plant) })}
        />
      )}
      {list.length > 0 && answer.whyNoList && <p>{answer.whyNoList}</p>}
      <p>
        {t("disease-list-cost", {
          ...count,
          all: count.confirmed + count.between + count.margin,
          inspect: answer.list.inspect.length,
        })}
      </p>
      <p>{t("disease-two-springs")}</p>
      <Caution>{t("disease-caution-8")}</Caution>
      <Caution>{t("disease-caution-9")}</Caution>
      {answer.scan.length > 0 && (
        <details>
          <summary>{t("disease-windows")}</summary>
          <DataTable under caption={t("disease-windows")} columns={windowColumns(t)} rows={answer.scan} keyOf={(w) => `${w.centre.row}-${w.centre.plant}-${w.shape}-${w.plants}`} file={`${props.file}-windows`} />
        </details>
      )}
      {answer.counts.length > 0 && (
        <details>
          <summary>{t("disease-counts")}</summary>
          <ul>
            {answer.counts.map((c) => (
              <li key={c.what}>
                {t("disease-counts-line", { what: c.what, hits: c.hits, sampled: c.sampled, places: c.places, low: number(100 * c.low, 1), high: number(100 * c.high, 1) })} {c.why_no_p ?? countsBest(c, t)}{" "}
                <span class="hint">{c.how}</span>
              </li>
            ))}
          </ul>
        </details>
      )}
      {answer.runs.length > 0 && (
        <details>
          <summary>{t("disease-runs")}</summary>
          <p class="hint">
            {t("disease-runs-note")} {t("disease-runs-source")}
          </p>
          <DataTable under caption={t("disease-runs")} columns={runColumns(t)} rows={answer.runs} keyOf={(r) => String(r.row)} file={`${props.file}-runs`} />
        </details>
      )}
    </section>
  );
}

function Groups(props: Parameters<typeof Shown>[0]) {
  const t = useText();
  const { answer } = props;
  const columns: Column<Group>[] = [
    { key: "number", head: t("disease-group"), cell: (g) => spoken(g.number) },
    { key: "finds", head: t("disease-group-finds"), cell: (g) => g.finds.length },
    { key: "core", head: t("disease-group-core"), cell: (g) => g.core },
    { key: "rows", head: t("disease-group-rows"), cell: (g) => [...new Set(g.finds.map((f) => f.row))].join(", ") },
  ];
  return (
    <>
      {answer.groups.length === 0 ? (
        <>
          <h2>{t("disease-groups")}</h2>
          <p>{t("disease-no-groups", { n: props.minFinds })}</p>
        </>
      ) : (
        <>
          <DataTable
            caption={t("disease-groups")}
            columns={columns}
            rows={answer.groups}
            keyOf={(g) => String(g.number)}
            file={`${props.file}-groups`}
            chosen={props.chosen.group === undefined ? undefined : String(props.chosen.group)}
            onChoose={(g) => props.onChosen({ group: g.number })}
            chooseName={(g) => t("disease-show-group", { n: String(spoken(g.number)) })}
          />
          <h3>{t("disease-group-evidence")}</h3>
          <ul>
            {answer.groups.map((g) => (
              <li key={g.number}>
                {t("disease-group-line", { n: String(spoken(g.number)), evidence: g.evidence || t("disease-evidence-none") })} {g.chance}
              </li>
            ))}
          </ul>
          <p class="hint">{t("disease-hull")}</p>
        </>
      )}
      {answer.isolated.length > 0 && <p>{t("disease-isolated", { n: answer.isolated.length })}</p>}
    </>
  );
}

type Say = ReturnType<typeof useText>;

function countsBest(c: Counts, t: Say): string {
  const best = c.scan[0];
  if (!best) return "";
  const { row, from, to } = best.centre;
  return t("disease-counts-best", { row: String(row), from: String(from), to: String(to), hits: best.hits, sampled: best.sampled, p: best.p === null ? "–" : pText(best.p) });
}

const listColumns = (t: Say): Column<Listed>[] => [
  { key: "row", head: t("disease-col-row"), cell: (p) => p.row },
  { key: "plant", head: t("disease-col-plant"), cell: (p) => p.plant },
  { key: "why", head: t("disease-col-why"), cell: (p) => t(`disease-why-${whyOf(p)}`), show: (p) => `${reasonShapes[whyOf(p)]} ${t(`disease-why-${whyOf(p)}`)}` },
  { key: "group", head: t("disease-col-group"), cell: (p) => (p.group === null ? null : spoken(p.group)) },
];

const windowColumns = (t: Say): Column<Window>[] => [
  { key: "centre", head: t("disease-window-centre"), cell: (w) => plantKey(w.centre) },
  { key: "shape", head: t("disease-window-shape"), cell: (w) => w.shape },
  { key: "plants", head: t("disease-window-plants"), cell: (w) => w.plants },
  { key: "infected", head: t("disease-window-infected"), cell: (w) => w.infected },
  { key: "risk", head: t("disease-window-risk"), cell: (w) => w.relative_risk, show: (w) => (w.relative_risk === null ? "–" : number(w.relative_risk, 1)) },
  { key: "llr", head: t("disease-window-llr"), cell: (w) => w.llr, show: (w) => number(w.llr, 2) },
  { key: "p", head: t("disease-window-p"), cell: (w) => w.p, show: (w) => (w.p === null ? "–" : pText(w.p)) },
];

const runColumns = (t: Say): Column<RowRuns>[] => [
  { key: "row", head: t("disease-col-row"), cell: (r) => r.row },
  { key: "segments", head: t("disease-runs-segments"), cell: (r) => r.segments },
  { key: "runs", head: t("disease-runs-runs"), cell: (r) => r.runs },
  { key: "expected", head: t("disease-runs-expected"), cell: (r) => r.expected, show: (r) => number(r.expected, 2) },
  { key: "z", head: t("disease-runs-z"), cell: (r) => r.z, show: (r) => (r.z === null ? "–" : number(r.z, 2)) },
];
