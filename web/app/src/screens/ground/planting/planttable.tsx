import { useEffect, useRef } from "preact/hooks";
import { number } from "../../../i18n";
import { drawStanding } from "../../../map/marks";
import type { Standing } from "../../../rowmap/marks";
import { useText } from "../../../ui/hooks";
import type { BlockPlants } from "../../../rowmap/blockplants";

const standings: readonly Standing[] = ["plant", "missing", "replanted", "removed"];

/** What the marks of the picture mean. */
export function PlantKey() {
  const t = useText();
  return (
    <details>
      <summary>{t("plants-key")}</summary>
      <ul class="plant-key">
        {standings.map((s) => (
          <li key={s}>
            <StandingMark standing={s} /> {t(`plants-is-${s}`)}
          </li>
        ))}
        <li>
          <span class="swatch swatch-unseen" aria-hidden="true" /> {t("plants-unseen")}
        </li>
      </ul>
      <p class="hint">{t("plants-key-shapes")}</p>
    </details>
  );
}

function StandingMark({ standing }: { standing: Standing }) {
  const canvas = useRef<HTMLCanvasElement>(null);
  useEffect(() => {
    const c = canvas.current?.getContext("2d");
    if (!c) return;
    c.setTransform(2, 0, 0, 2, 0, 0);
    c.clearRect(0, 0, 24, 24);
    drawStanding(c, standing, 12, 12, 7);
  }, [standing]);
  return <canvas class="mark" ref={canvas} width={48} height={48} aria-hidden="true" />;
}

/** The picture as a table, row by row: everything that is not a plain plant. */
export function PlantTable({ plants, onRow }: { plants: BlockPlants; onRow: (row: number) => void }) {
  const t = useText();
  const { picture, marks } = plants;
  const rows = [...picture.rows].sort((a, b) => a.number - b.number);
  return (
    <details>
      <summary>{t("plants-table")}</summary>
      <div class="wide" role="group" tabIndex={0} aria-label={t("plants-table")}>
        <table>
          <thead>
            <tr>
              {(["row", "places", "missing", "replanted", "removed", "finds", "seen"] as const).map((c) => (
                <th key={c} scope="col">
                  {t(`plants-table-${c}`)}
                </th>
              ))}
            </tr>
          </thead>
          <tbody>
            {rows.map((r) => {
              const where = (is: (plant: number) => boolean) => list(r.plants.filter(is));
              return (
                <tr key={r.number}>
                  <th scope="row">
                    <button type="button" class="link" onClick={() => onRow(r.number)}>
                      {r.number}
                    </button>
                    {marks.skipped(r.number) && <span class="soft"> {t("plants-skipped")}</span>}
                  </th>
                  <td class="num">{number(r.plants.length)}</td>
                  <td>{where((p) => marks.standing(r.number, p) === "missing")}</td>
                  <td>{where((p) => marks.standing(r.number, p) === "replanted")}</td>
                  <td>{where((p) => marks.standing(r.number, p) === "removed")}</td>
                  <td>{where((p) => marks.finds(r.number, p).length > 0)}</td>
                  <td>{where((p) => marks.seen(r.number, p) === true)}</td>
                </tr>
              );
            })}
          </tbody>
        </table>
      </div>
    </details>
  );
}

/** Numbers as stretches: 3, 7-9. */
export function list(plants: readonly number[]): string {
  const out: [number, number][] = [];
  for (const p of [...plants].sort((a, b) => a - b)) {
    const last = out.at(-1);
    if (last && p === last[1] + 1) last[1] = p;
    else out.push([p, p]);
  }
  return out.map(([a, b]) => (a === b ? String(a) : `${a}–${b}`)).join(", ");
}
