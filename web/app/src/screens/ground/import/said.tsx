import type { Said, SaidOfShape } from "../../../api/imports";
import type { FarmMap } from "../../../map/farmmap";
import { useText } from "../../../ui/hooks";
import { areaChange, patch } from "../../../units";
import type { Numbered } from "./onmap";

/** Things said of a file, each with the number of its mark on the map, its place and what would mend it. */
export function SaidList({ items, map, at }: { items: readonly Numbered<Said | SaidOfShape>[]; map: FarmMap; at?: number | undefined }) {
  if (items.length === 0) return null;
  return (
    <ul class="said-list">
      {items.map((item, i) => (
        <OneSaid key={i} {...item} map={map} own={at} />
      ))}
    </ul>
  );
}

/** The element a mark of the map belongs to. */
export const markId = (n: number) => `import-mark-${n}`;

function OneSaid({ said, mark, map, own }: Numbered<Said | SaidOfShape> & { map: FarmMap; own: number | undefined }) {
  const t = useText();
  const where = usePlaceWords(said, own);
  const position = said.at.position;
  const { area_m2, grown_m2 } = said as SaidOfShape;
  return (
    <li>
      {mark !== null && (
        <>
          <span class="map-mark" aria-hidden="true">
            {mark}
          </span>{" "}
          <span class="hidden">{t("imports-mark", { n: String(mark) })}</span>{" "}
        </>
      )}
      {said.message}
      {area_m2 !== undefined && <div>{t("imports-concerns", { area: patch(area_m2) })}</div>}
      {grown_m2 !== undefined && <div>{t("imports-grown", { area: areaChange(grown_m2) })}</div>}
      {where && <div class="soft">{t("core-problem-where", { where })}</div>}
      {said.fix && <div>{t("core-problem-fix", { fix: said.fix })}</div>}
      {mark !== null && position && (
        <button type="button" class="link" id={markId(mark)} onClick={() => map.goTo(position)}>
          {t("imports-show-mark", { n: String(mark) })}
        </button>
      )}
    </li>
  );
}

/** Where in the file; a shape's own number is not said again inside it. */
function usePlaceWords({ at }: Said, own: number | undefined): string {
  const t = useText();
  const numbers = (
    [
      ["core-problem-feature", at.feature === own ? undefined : at.feature],
      ["core-problem-part", at.part],
      ["core-problem-ring", at.ring],
      ["core-problem-vertex", at.vertex],
      ["core-problem-line", at.line],
      ["imports-where-byte", at.line === undefined || at.line === null ? at.byte : undefined],
    ] as const
  ).flatMap(([key, n]) => (n === undefined || n === null ? [] : [t(key, { n: String(n) })]));
  const entry = at.entry ? [t("imports-where-entry", { name: at.entry })] : [];
  const position = at.position ? [at.position.slice(0, 2).map((v) => v.toFixed(6)).join(", ")] : [];
  return [...entry, ...numbers, ...position].join(", ");
}
