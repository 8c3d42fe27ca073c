import type { ComponentChildren } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import type { ImportKind, Proposed, Said } from "../../../api/imports";
import { number } from "../../../i18n";
import type { FarmMap } from "../../../map/farmmap";
import { useText } from "../../../ui/hooks";
import { Toggle } from "../../../ui/settings";
import { type Choice, type Choices, type Filter, filters, type ForAll, leaveAll, meets, takeReady, tally } from "./agree";
import { numbered, type OverlayName, overlays, shown } from "./onmap";
import { markId } from "./said";
import { OneShape, shapeId } from "./shape";

/** Shapes on one page of the list. */
export const pageSize = 50;
// Beyond this a picture of every shape is made anew only when the file is, not
// with every choice.
const mostRedrawn = 2000;

const styles = { "import-left": "left-out", "import-read": "as-read", "import-taken": "proposed", "import-piece": "piece" } as const satisfies Record<OverlayName, string>;

interface ShapesProps {
  readonly shapes: readonly Proposed[];
  readonly kind: ImportKind;
  readonly choices: Choices;
  readonly onChoices: (choices: Choices) => void;
  readonly all: ForAll;
  readonly map: FarmMap;
  /** Said of the whole file; their marks come first. */
  readonly ofFile: readonly Said[];
  readonly children?: ComponentChildren;
}

/** The shapes of a file, page by page, in the list and on the map. */
export function Shapes({ shapes, kind, choices, onChoices, all, map, ofFile, children }: ShapesProps) {
  const t = useText();
  const [filter, setFilter] = useState<Filter>("all");
  const [page, setPage] = useState(0);
  const count = tally(shapes, choices);
  const met = filter === "all" ? shapes : shapes.filter((s) => meets(s, filter));
  const from = Math.min(page, Math.max(0, Math.ceil(met.length / pageSize) - 1)) * pageSize;
  const here = met.slice(from, from + pageSize);
  const head = useRef<HTMLHeadingElement>(null);
  useOnMap(map, shapes, here, choices, ofFile);
  useJumps(map, (n) => {
    const at = met.findIndex((s) => s.number === n);
    if (at < 0) setFilter("all");
    setPage(Math.floor((at < 0 ? shapes.findIndex((s) => s.number === n) : at) / pageSize));
  });

  const sorts = filters.filter((f) => f === "all" || count[f] > 0 || f === filter);
  const turn = (to: number) => {
    setPage(to);
    head.current?.focus();
  };
  const change = (n: number, c: Choice) => onChoices(new Map(choices).set(n, c));
  let marks = ofFile.filter((s) => s.at.position).length;
  return (
    <>
      <h2 ref={head} tabIndex={-1}>
        {t("imports-shapes")}
      </h2>
      <Legend shapes={here} />
      {children}
      <div class="import-filters">
        {sorts.length > 1 && (
          <Toggle
            label={t("imports-show")}
            value={filter}
            onValue={(f) => {
              setFilter(f);
              setPage(0);
            }}
            choices={sorts.map((f) => ({ value: f, label: t(`imports-filter-${f}`, { n: number(count[f]) }) }))}
          />
        )}
        <p role="status">{t("imports-taken-count", { taken: count.taken, all: count.all })}</p>
      </div>
      {shapes.length > 1 && (
        <div class="buttons">
          <button type="button" onClick={() => onChoices(takeReady(shapes, choices))}>
            {t("imports-take-ready")}
          </button>
          <button type="button" onClick={() => onChoices(leaveAll(choices))}>
            {t("imports-leave-all")}
          </button>
        </div>
      )}
      {here.length === 0 && <p>{t("imports-none-so")}</p>}
      {here.map((s) => {
        const said = numbered(s.said ?? [], marks);
        marks += said.filter((one) => one.mark !== null).length;
        const choice = choices.get(s.number);
        return choice && <OneShape key={s.number} shape={s} kind={kind} choice={choice} all={all} said={said} map={map} onChoice={change} />;
      })}
      {met.length > pageSize && (
        <nav class="buttons" aria-label={t("imports-pages")}>
          <button type="button" disabled={from === 0} onClick={() => turn(from / pageSize - 1)}>
            {t("imports-earlier")}
          </button>
          <p>{t("imports-page", { from: from + 1, to: from + here.length, all: met.length })}</p>
          <button type="button" disabled={from + pageSize >= met.length} onClick={() => turn(from / pageSize + 1)}>
            {t("imports-later")}
          </button>
        </nav>
      )}
    </>
  );
}

function useOnMap(map: FarmMap, shapes: readonly Proposed[], here: readonly Proposed[], choices: Choices, ofFile: readonly Said[]): void {
  // What the map depends on of the choices: not the names being typed.
  const redrawn = shapes.length <= mostRedrawn ? here.map((s) => s.number).join() + [...choices.values()].map((c) => c.as).join() : "";
  useEffect(() => {
    const drawn = shown(shapes, here, choices);
    for (const name of overlays) map.setOverlay(name, drawn[name], styles[name]);
    return () => {
      for (const name of overlays) map.setOverlay(name, null);
    };
  }, [map, shapes, redrawn]);
  const marked = here.map((s) => s.number).join();
  useEffect(() => {
    const said = [...ofFile, ...here.flatMap((s) => s.said ?? [])].filter((s) => s.at.position);
    map.setDefects(said.map((s) => ({ at: s.at.position!, text: s.message })));
    return () => map.setDefects(null);
  }, [map, shapes, marked, ofFile]);
}

/** A tap on a mark or a shape of the map goes to what is said about it. */
function useJumps(map: FarmMap, open: (shape: number) => void): void {
  const latest = useRef(open);
  latest.current = open;
  const wanted = useRef<number | null>(null);
  const [, redraw] = useState(0);
  useEffect(
    () =>
      map.onPick((pick) => {
        if (!pick) return;
        if (pick.layer === "defects") document.getElementById(markId(Number(pick.id)))?.focus();
        else if (typeof pick.layer === "object" && pick.layer.overlay.startsWith("import-")) {
          const n = parseInt(pick.id, 10);
          wanted.current = n;
          latest.current(n);
          redraw((k) => k + 1);
        }
      }),
    [map],
  );
  useEffect(() => {
    if (wanted.current === null) return;
    const there = document.getElementById(shapeId(wanted.current));
    wanted.current = null;
    there?.focus();
    there?.scrollIntoView({ block: "nearest" });
  });
}

function Legend({ shapes }: { shapes: readonly Proposed[] }) {
  const t = useText();
  const drawn = ["proposed", "left-out"] as ("proposed" | "left-out" | "as-read" | "piece")[];
  if (shapes.some((s) => s.as_read)) drawn.push("as-read");
  if (shapes.some((s) => s.said?.some((one) => one.piece))) drawn.push("piece");
  return (
    <ul class="import-legend" aria-label={t("imports-legend")}>
      {drawn.map((d) => (
        <li key={d}>
          <span class={`swatch swatch-${d}`} aria-hidden="true" /> {t(`imports-legend-${d}`)}
        </li>
      ))}
    </ul>
  );
}
