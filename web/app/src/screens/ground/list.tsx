import { named } from "../../i18n";
import { mayWrite } from "../../model/rights";
import { useRecords, useSignal, useText, useUnits } from "../../ui/hooks";
import { Caution, ProblemNote } from "../../ui/notes";
import { area } from "../../units";
import type { PlaceProps } from "../place";
import { RoundEntry } from "./round/entry";
import { Where } from "./where";

/** All blocks with their figures, and what lies around them. */
export function GroundList({ farm, figures, map, go }: PlaceProps) {
  const t = useText();
  useUnits();
  const blocks = useRecords(farm, "blocks").list;
  const rows = useRecords(farm, "rows").list;
  const near = useRecords(farm, "surroundings");
  const measured = useSignal(figures.now);
  const writes = mayWrite(farm.info.role, "blocks");
  const rowsOf = new Map<string, number>();
  for (const r of rows) {
    const block = r.feature.properties.block;
    rowsOf.set(block, (rowsOf.get(block) ?? 0) + 1);
  }
  const sorted = blocks.toSorted((a, b) => a.feature.properties.name.localeCompare(b.feature.properties.name, undefined, { numeric: true }));
  const total = sorted.reduce((sum, b) => sum + (measured.of.get(b.id)?.outline_m2 ?? 0), 0);
  const known = sorted.every((b) => measured.of.has(b.id));
  return (
    <>
      <h1>{t("ground-title")}</h1>
      {sorted.length === 0 && <p>{writes ? t("ground-none") : t("ground-none-role")}</p>}
      {measured.state === "failed" && <ProblemNote problem={measured.failure} onRetry={() => void figures.refresh()} />}
      {sorted.length > 0 && (
        <table>
          <caption class="hidden">{t("ground-blocks")}</caption>
          <thead>
            <tr>
              <th scope="col">{t("ground-blocks")}</th>
              <th scope="col" class="num">
                {t("ground-col-area")}
              </th>
              <th scope="col" class="num">
                {t("ground-col-rows")}
              </th>
            </tr>
          </thead>
          <tbody>
            {sorted.map((b) => {
              const p = b.feature.properties;
              const m2 = measured.of.get(b.id)?.outline_m2;
              return (
                <tr key={b.id}>
                  <th scope="row">
                    <button
                      type="button"
                      class="link"
                      onClick={() => {
                        map.fit([b.feature.geometry]);
                        go({ block: b.id, view: undefined });
                      }}
                    >
                      {p.name}
                    </button>
                    <div class="soft under">{[p.cultivar, p.crop && named("ground-crop-", p.crop)].filter(Boolean).join(", ")}</div>
                  </th>
                  <td class="num">{m2 === undefined ? "…" : area(m2)}</td>
                  <td class="num">{rowsOf.get(b.id) ?? 0}</td>
                </tr>
              );
            })}
          </tbody>
          {sorted.length > 1 && known && (
            <tfoot>
              <tr>
                <th scope="row">{t("ground-total")}</th>
                <td class="num">{area(total)}</td>
                <td class="num">{rows.length}</td>
              </tr>
            </tfoot>
          )}
        </table>
      )}
      {writes && (
        <div class="buttons">
          <button type="button" class={sorted.length === 0 ? "main" : undefined} onClick={() => go({ block: undefined, view: "new" })}>
            {t("ground-draw")}
          </button>
          <button type="button" onClick={() => go({ block: undefined, view: "import" })}>
            {t("ground-bring")}
          </button>
          <RoundEntry farm={farm} go={go} />
        </div>
      )}
      {writes && sorted.length === 0 && <Where map={map} />}
      <h2>{t("ground-near")}</h2>
      {near.state === "ready" && near.list.length === 0 && <p>{t("ground-near-none")}</p>}
      <ul class="plain">
        {near.list.map((s) => {
          const p = s.feature.properties;
          return (
            <li key={s.id}>
              <button
                type="button"
                class="link"
                onClick={() => {
                  map.fit([s.feature.geometry]);
                  go({ view: `near:${s.id}` });
                }}
              >
                {p.name || named("ground-kind-", p.kind)}
              </button>
              <span class="soft">
                {p.name ? named("ground-kind-", p.kind) : ""}
                {p.drawn_by_eye ? ` – ${t("ground-by-eye").toLowerCase()}` : ""}
              </span>
            </li>
          );
        })}
      </ul>
      {writes && (
        <div class="buttons">
          <button type="button" onClick={() => go({ view: "near" })}>
            {t("ground-near-add")}
          </button>
        </div>
      )}
      {near.list.length > 0 && <Caution>{t("core-caution-drawn")}</Caution>}
    </>
  );
}
