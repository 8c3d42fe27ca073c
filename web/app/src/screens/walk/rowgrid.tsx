import { useState } from "preact/hooks";
import { type DrawnRow, lastPlant, type Stretch } from "../../rowmap/rowplace";
import { useText } from "../../ui/hooks";
import { seenOf, tapped } from "./effort";
import { Stepper } from "./stepper";
import { mergeStretches } from "./visit";

const marks = { none: "", part: "◐", whole: "✓" } as const;

/** The block's rows as buttons: a tap says that a row was looked at. */
export function RowGrid({ rows, stretches, onStretches }: { rows: readonly DrawnRow[]; stretches: readonly Stretch[]; onStretches: (next: Stretch[]) => void }) {
  const t = useText();
  const last = (row: number) => lastPlant(rows, row);
  const all = [...new Set(rows.map((r) => r.number))].filter((n) => last(n) > 0);
  return (
    <>
      <p class="row-grid-label" id="walk-rows-tap">
        {t("walk-rows-tap")}
      </p>
      <div class="row-grid" role="group" aria-labelledby="walk-rows-tap">
        {all.map((row) => {
          const seen = seenOf(stretches, row, last);
          return (
            <button
              key={row}
              type="button"
              class={`big ${seen}`}
              aria-pressed={seen === "whole"}
              aria-label={t(`walk-row-${seen}`, { row: String(row) })}
              onClick={() => onStretches(tapped(stretches, row, last))}
            >
              {row}
              <span aria-hidden="true">{marks[seen]}</span>
            </button>
          );
        })}
      </div>
      <PartOfRow rows={rows} onAdd={(s) => onStretches(mergeStretches([...stretches, s]))} />
    </>
  );
}

function PartOfRow({ rows, onAdd }: { rows: readonly DrawnRow[]; onAdd: (stretch: Stretch) => void }) {
  const t = useText();
  const [row, setRow] = useState(1);
  const last = lastPlant(rows, row);
  const [from, setFrom] = useState(1);
  const [to, setTo] = useState(10);
  const stretch = { row, from: Math.min(from, last), to: Math.min(Math.max(from, to), last) };
  return (
    <details class="part-of-row">
      <summary>{t("walk-part")}</summary>
      <Stepper label={t("walk-row")} value={row} last={Math.max(0, ...rows.map((r) => r.number))} onValue={setRow} />
      <Stepper label={t("walk-part-from")} value={from} last={last} leap={10} onValue={setFrom} />
      <Stepper label={t("walk-part-to")} value={to} last={last} leap={10} onValue={setTo} />
      <button type="button" class="big" disabled={last < 1} onClick={() => onAdd(stretch)}>
        {t("walk-part-add", { row: String(stretch.row), from: String(stretch.from), to: String(stretch.to) })}
      </button>
    </details>
  );
}
