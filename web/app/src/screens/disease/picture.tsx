import { useMemo, useState } from "preact/hooks";
import { enter, number } from "../../i18n";
import { plants } from "../../i18n/plants";
import type { PlantAt, Stored } from "../../model/kinds";
import { type PlantMarks, plantId, plantMarks } from "../../rowmap/marks";
import { type Listing, type Over, rateTints, topRate } from "../../rowmap/over";
import { pictureOf } from "../../rowmap/picture";
import { RowMap } from "../../rowmap/rowmap";
import type { DrawnRow } from "../../rowmap/rowplace";
import { useText } from "../../ui/hooks";
import { MapCover } from "../../ui/mapcover";
import type { Answer } from "./answer";
import type { Happened } from "./days";

enter(plants);

const nothing: ReadonlySet<number> = new Set();

export interface PicturedProps {
  readonly block: Stored<"blocks">;
  readonly rows: readonly DrawnRow[];
  readonly rowRecords: readonly Stored<"rows">[];
  readonly shown: Happened;
  readonly earlier: readonly Stored<"finds">[];
  readonly answer: Answer | null;
  readonly chosen: readonly PlantAt[];
  readonly onTake: (at: PlantAt) => void;
}

/** The block as rows by plants with what the answer says of each, in the map's stead. */
export function Pictured(props: PicturedProps) {
  const t = useText();
  const { block, answer, shown } = props;
  const p = block.feature.properties;
  const [northUp, setNorthUp] = useState(false);
  const [cursor, setCursor] = useState<PlantAt | null>(null);
  const picture = useMemo(() => pictureOf(props.rows, p.plant_spacing_m ?? null, p.row_bearing_deg), [props.rows, block]);
  const marks = useMemo(() => hatched(plantMarks(block.id, { rows: props.rowRecords, ...shown })), [block.id, props.rowRecords, shown]);
  const earlier = useMemo(() => idsOf(props.earlier), [props.earlier]);
  const listed = useMemo(() => listing(answer), [answer]);
  const rates = useMemo(() => ratesOf(answer), [answer]);
  const chosen = useMemo(() => new Set(props.chosen.map((c) => plantId(c.row, c.plant))), [props.chosen]);
  const over: Over = {
    rates,
    earlier,
    listed,
    chosen,
    says: (row, plant) => {
      const id = plantId(row, plant);
      const [how, rate] = [listed.get(id), rates?.get(id)];
      return [
        ...(earlier.has(id) ? [t("core-mark-earlier")] : []),
        ...(how ? [t(`disease-why-${how}`)] : []),
        ...(rate === undefined ? [] : [t("disease-smooth-here", { rate: number(100 * rate, 1) })]),
      ];
    },
  };
  const at = props.chosen.length === 1 ? props.chosen[0]! : cursor;
  return (
    <>
      <MapCover>
        <RowMap
          picture={picture}
          marks={marks}
          name={p.name}
          cursor={at}
          onCursor={(to) => {
            setCursor(to);
            props.onTake(to);
          }}
          onTake={props.onTake}
          drafted={nothing}
          over={over}
          northUp={northUp}
          onNorthUp={setNorthUp}
        />
      </MapCover>
      <Legend answer={answer} top={topRate(rates)} />
    </>
  );
}

/** What the boxes and tints of the picture mean. */
function Legend({ answer, top }: { readonly answer: Answer | null; readonly top: number }) {
  const t = useText();
  const smoothed = answer?.smoothed;
  const fifth = (100 * top) / rateTints.length;
  return (
    <details class="legend">
      <summary>{t("disease-legend")}</summary>
      <ul>
        {(["confirmed", "between", "margin", "inspect"] as const).map((how) => (
          <li key={how}>
            <span class={`box box-${how}`} aria-hidden="true" /> {t(`disease-why-${how}`)}
          </li>
        ))}
        <li>
          <span class="swatch swatch-unseen" aria-hidden="true" /> {t("disease-legend-unseen")}
        </li>
        <li>
          <span class="swatch swatch-earlier" aria-hidden="true" /> {t("core-mark-earlier")}
        </li>
      </ul>
      {smoothed && (
        <>
          <h3>{t("disease-smooth")}</h3>
          {smoothed.why_not ? (
            <p>{smoothed.why_not}</p>
          ) : (
            <>
              <ul>
                {rateTints.map((tint, i) => (
                  <li key={tint}>
                    <span class="swatch" style={{ background: tint }} aria-hidden="true" />{" "}
                    {t("disease-smooth-step", { from: number(fifth * i, 1), to: number(fifth * (i + 1), 1) })}
                  </li>
                ))}
              </ul>
              <p class="hint">{smoothed.how}</p>
            </>
          )}
        </>
      )}
    </details>
  );
}

/** Where no visit says what was looked at nothing was: not looked at is not clean. */
function hatched(marks: PlantMarks): PlantMarks {
  return { ...marks, seen: (row, plant) => marks.seen(row, plant) ?? false };
}

function idsOf(finds: readonly Stored<"finds">[]): ReadonlySet<number> {
  const ids = new Set<number>();
  for (const { feature } of finds) {
    const { row, plant } = feature.properties;
    if (row !== undefined && plant !== undefined) ids.add(plantId(row, plant));
  }
  return ids;
}

function listing(answer: Answer | null): ReadonlyMap<number, Listing> {
  const out = new Map<number, Listing>();
  for (const how of ["inspect", "margin", "between", "confirmed"] as const) for (const p of answer?.list[how] ?? []) out.set(plantId(p.row, p.plant), how);
  return out;
}

function ratesOf(answer: Answer | null): ReadonlyMap<number, number> | null {
  if (!answer?.smoothed || answer.smoothed.why_not) return null;
  const out = new Map<number, number>();
  for (const r of answer.smoothed.rows) {
    r.rates.forEach((rate, i) => {
      if (rate !== null) out.set(plantId(r.row, r.from + i), rate);
    });
  }
  return out;
}
