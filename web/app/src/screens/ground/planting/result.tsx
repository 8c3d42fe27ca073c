import { Fragment } from "preact";
import type { HowLine, PlantingAnswer } from "../../../api/planting";
import { number } from "../../../i18n";
import { useText } from "../../../ui/hooks";
import { How } from "../../../ui/how";
import { area, length } from "../../../units";
import type { PlantingForm } from "./spec";

/** What a layout holds: areas, counts beside the handbook's, and what to order. */
export function Result({ answer, form }: { answer: PlantingAnswer; form: PlantingForm }) {
  const t = useText();
  const areas = answer.areas ?? { outline_m2: answer.outline_m2, planted_m2: answer.planted_m2 };
  const how = new Map((answer.how ?? []).map((h) => [h.what, h]));
  const share = answer.share ?? (areas.outline_m2 > 0 ? areas.planted_m2 / areas.outline_m2 : 0);
  return (
    <>
      <dl class="figures">
        <dt>{t("planting-area-outline")}</dt>
        <dd>
          <Told line={how.get("outline_m2")}>{area(areas.outline_m2)}</Told>
        </dd>
        <dt>{t("planting-area-planted")}</dt>
        <dd>
          <Told line={how.get("planted_m2")}>{area(areas.planted_m2)}</Told>
        </dd>
        {areas.band_m2 !== undefined && (
          <>
            <dt>{t("planting-area-band")}</dt>
            <dd>
              <Told line={how.get("band_m2")}>{area(areas.band_m2)}</Told>
            </dd>
          </>
        )}
        <dt>{t("planting-share")}</dt>
        <dd>
          <Told line={how.get("share")}>{`${number(share * 100, 1)} %`}</Told>
        </dd>
        {answer.turns !== undefined && (
          <>
            <dt>{t("planting-turns")}</dt>
            <dd>
              <Told line={how.get("turns")}>{number(answer.turns)}</Told>
            </dd>
          </>
        )}
        {answer.short_rows !== undefined && (
          <>
            <dt>{t("planting-short-rows")}</dt>
            <dd>
              <Told line={how.get("short_rows")}>{number(answer.short_rows)}</Told>
            </dd>
          </>
        )}
      </dl>
      {answer.handbook && <Handbook answer={answer} handbook={answer.handbook} />}
      {answer.order && <OrderList order={answer.order} form={form} />}
    </>
  );
}

function Handbook({ answer, handbook }: { answer: PlantingAnswer; handbook: NonNullable<PlantingAnswer["handbook"]> }) {
  const t = useText();
  return (
    <>
      <h2>{t("planting-handbook")}</h2>
      <table>
        <thead>
          <tr>
            <th scope="col">
              <span class="hidden">{t("planting-figure")}</span>
            </th>
            <th scope="col" class="num">
              {t("planting-laid-out")}
            </th>
            <th scope="col" class="num">
              {t("planting-by-formula")}
            </th>
          </tr>
        </thead>
        <tbody>
          <tr>
            <th scope="row">{t("ground-plants")}</th>
            <td class="num">{number(answer.plants)}</td>
            <td class="num">{number(Math.round(handbook.plants))}</td>
          </tr>
          <tr>
            <th scope="row">{t("ground-row-length")}</th>
            <td class="num">{length(answer.row_length_m)}</td>
            <td class="num">{length(handbook.row_length_m)}</td>
          </tr>
        </tbody>
      </table>
      {handbook.how && <p class="soft">{handbook.how}</p>}
      {answer.why_different && answer.why_different.length > 0 && (
        <>
          <h3>{t("planting-why-different")}</h3>
          <ul>
            {answer.why_different.map((why) => (
              <li key={why}>{why}</li>
            ))}
          </ul>
        </>
      )}
    </>
  );
}

function OrderList({ order, form }: { order: NonNullable<PlantingAnswer["order"]>; form: PlantingForm }) {
  const t = useText();
  const how = new Map((order.how ?? []).map((h) => [h.what, h]));
  const lines: [what: string, name: string, figure: string | undefined][] = [
    ["to-order", t("planting-order-plants", { spare: `${number(order.spare_percent ?? form.spare_percent ?? 0, 1)} %` }), number(order.to_order)],
    ["posts", t("planting-order-posts"), !order.posts ? undefined : number(order.posts)],
    ["end-posts", t("planting-order-end-posts"), !order.end_posts ? undefined : number(order.end_posts)],
    ["wire", t("planting-order-wire"), !order.wire_m ? undefined : length(order.wire_m)],
    ["line", t("planting-order-line"), !order.line_m ? undefined : length(order.line_m)],
  ];
  return (
    <>
      <h2>{t("planting-order")}</h2>
      <dl class="figures">
        {lines.map(
          ([what, name, figure]) =>
            figure !== undefined && (
              <Fragment key={what}>
                <dt>{name}</dt>
                <dd>
                  <Told line={how.get(what)}>{figure}</Told>
                </dd>
              </Fragment>
            ),
        )}
      </dl>
    </>
  );
}

function Told({ line, children }: { line: HowLine | undefined; children: string }) {
  if (!line) return <strong class="figure">{children}</strong>;
  return (
    <How formula={line.text} source={line.source}>
      {children}
    </How>
  );
}

/** Row by row; a row can be left unplanted, and keeps its number. */
export function RowTable(props: { answer: PlantingAnswer; skip: readonly number[]; chosen: number | null; onSkip: (row: number) => void; onChoose: (row: number) => void }) {
  const t = useText();
  const skipped = new Set(props.skip);
  return (
    <details>
      <summary>{t("ground-row-table")}</summary>
      <table>
        <thead>
          <tr>
            <th class="num" scope="col">
              {t("ground-col-number")}
            </th>
            <th class="num" scope="col">
              {t("ground-col-length")}
            </th>
            <th class="num" scope="col">
              {t("ground-col-plants")}
            </th>
            <th scope="col">
              <span class="hidden">{t("planting-row-do")}</span>
            </th>
          </tr>
        </thead>
        <tbody>
          {props.answer.each.map((r) => (
            <tr key={r.number} class={r.number === props.chosen ? "chosen-row" : undefined}>
              <td class="num">
                <button type="button" class="link" onClick={() => props.onChoose(r.number)} aria-label={t("planting-row-show", { row: String(r.number) })}>
                  {r.number}
                </button>
              </td>
              <td class="num">{skipped.has(r.number) ? t("planting-skipped") : length(r.length_m)}</td>
              <td class="num">{skipped.has(r.number) ? "–" : r.plants}</td>
              <td>
                <button type="button" class="link" onClick={() => props.onSkip(r.number)}>
                  {t(skipped.has(r.number) ? "planting-take-back" : "planting-skip", { row: String(r.number) })}
                </button>
              </td>
            </tr>
          ))}
        </tbody>
      </table>
    </details>
  );
}
