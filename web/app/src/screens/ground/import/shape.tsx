import type { ImportKind, Proposed, ShapeState, Way } from "../../../api/imports";
import { named } from "../../../i18n";
import type { FarmMap } from "../../../map/farmmap";
import { surroundingsKinds } from "../../../model/kinds";
import { Choice as List, TextField } from "../../../ui/form";
import { useText, useUnits } from "../../../ui/hooks";
import { Caution } from "../../../ui/notes";
import { area, areaChange, patch } from "../../../units";
import { type Choice, type ForAll, isTaken, typedRow } from "./agree";
import type { Numbered } from "./onmap";
import { Radio } from "./questions";
import { SaidList } from "./said";

// A word, a shape and a colour each.
const looks: Record<ShapeState, readonly [mark: string, look: string]> = {
  ready: ["✓", "ok"],
  repaired: ["~", "caution"],
  ask: ["?", "caution"],
  refused: ["✕", "stop"],
  present: ["=", "soft"],
};

/** The element of a shape, to jump to from the map. */
export const shapeId = (n: number) => `import-shape-${n}`;

interface OneShapeProps {
  readonly shape: Proposed;
  readonly kind: ImportKind;
  readonly choice: Choice;
  readonly all: ForAll;
  readonly said: readonly Numbered[];
  readonly map: FarmMap;
  readonly onChoice: (number: number, c: Choice) => void;
}

/** One shape of the file: what it is, what was mended, and what to do with it. */
export function OneShape({ shape, kind, choice, all, said, map, onChoice }: OneShapeProps) {
  const t = useText();
  useUnits();
  const change = (over: Partial<Choice>) => onChoice(shape.number, { ...choice, ...over });
  const place = shape.feature.geometry ?? shape.as_read ?? null;
  const [mark, look] = looks[shape.state] ?? looks.ask;
  return (
    <fieldset id={shapeId(shape.number)} tabIndex={-1} class="import-shape">
      <legend>
        {shape.number}. {shape.name || t("imports-unnamed")}{" "}
        <span class={`word ${look}`}>
          <span aria-hidden="true">{mark}</span> {named("imports-state-", shape.state)}
        </span>
      </legend>
      {shape.layer && <p class="soft">{t("imports-layer", { name: shape.layer })}</p>}
      <Areas shape={shape} choice={choice} />
      <SaidList items={said} map={map} at={shape.at?.feature} />
      {shape.overlaps?.map((o) => (
        <Caution key={o.block}>{t("imports-overlaps", { name: o.name, area: patch(o.area_m2) })}</Caution>
      ))}
      {shape.present && <p>{t(shape.present.same ? "imports-present" : "imports-present-other", { revision: String(shape.present.revision) })}</p>}
      {shape.choices.length > 0 && <Ways shape={shape} choice={choice} onAs={(as) => change({ as })} />}
      {isTaken(choice) && (
        <>
          {kind === "rows" && (
            <TextField
              label={t("imports-row")}
              inputMode="numeric"
              value={choice.row}
              fault={choice.row.trim() && typedRow(choice.row) === null ? t("imports-row-fault") : undefined}
              onValue={(row) => change({ row })}
            />
          )}
          {kind !== "finds" && kind !== "rows" && <TextField label={t("imports-name")} value={choice.name} onValue={(name) => change({ name })} optional={kind !== "blocks"} />}
          {kind === "surroundings" && (
            <List
              label={t("imports-near-kind")}
              value={choice.kind}
              onValue={(k) => change({ kind: k })}
              empty={all.kind ? t("imports-as-all") : undefined}
              choices={surroundingsKinds.map((k) => ({ value: k, label: named("ground-kind-", k) }))}
            />
          )}
        </>
      )}
      {place && (
        <button type="button" class="link" onClick={() => map.fit([place])}>
          {t("imports-show-shape")}
          <span class="hidden">: {shape.name || shape.number}</span>
        </button>
      )}
    </fieldset>
  );
}

function Ways({ shape, choice, onAs }: { shape: Proposed; choice: Choice; onAs: (as: Choice["as"]) => void }) {
  const t = useText();
  const group = `import-way-${shape.number}`;
  const hint = (way: Way) => {
    const m2 = shape.areas?.[way];
    return m2 === undefined || shape.choices.length === 1 ? undefined : area(m2);
  };
  return (
    <div role="radiogroup" aria-label={t("imports-how")}>
      {shape.choices.map((way) => (
        <Radio key={way} group={group} label={t(`imports-as-way-${way}`)} hint={hint(way)} checked={choice.as === way} onCheck={() => onAs(way)} />
      ))}
      <Radio group={group} label={t("imports-as-way-leave")} checked={choice.as === "leave"} onCheck={() => onAs("leave")} />
    </div>
  );
}

// Two ways of measuring the same ring differ by less than this share: the file's
// own figure is then no news.
const sameArea = 0.0005;

/** The area in the file, as it would be stored, and the difference. */
function Areas({ shape, choice }: { shape: Proposed; choice: Choice }) {
  const t = useText();
  const way = choice.as === "leave" ? (shape.choices.length === 1 ? shape.choices[0] : undefined) : choice.as;
  const after = way && shape.areas?.[way];
  const before = shape.before_m2;
  if (after === undefined && before === undefined) return null;
  const differs = after === undefined || (before !== undefined && Math.abs(before - after) > sameArea * Math.abs(after));
  return (
    <dl class="figures">
      {before !== undefined && differs && (
        <>
          <dt>{t("imports-before")}</dt>
          <dd>
            {area(before)} <span class="soft">({t("imports-before-hint")})</span>
          </dd>
        </>
      )}
      {after !== undefined && (
        <>
          <dt>{t("imports-after")}</dt>
          <dd>
            <strong>{area(after)}</strong>
          </dd>
        </>
      )}
      {after !== undefined && before !== undefined && differs && (
        <>
          <dt>{t("imports-difference")}</dt>
          <dd>{areaChange(after - before)}</dd>
        </>
      )}
    </dl>
  );
}
