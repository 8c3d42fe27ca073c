import type { ComponentChildren } from "preact";
import { useEffect, useState } from "preact/hooks";
import { day, moment, number } from "../../i18n";
import type { Geometry } from "../../geo/position";
import type { FarmMap, Shape } from "../../map/farmmap";
import type { Amount, Stored } from "../../model/kinds";
import { How } from "../../ui/how";
import { useText, useUnits } from "../../ui/hooks";
import { Caution, Mark } from "../../ui/notes";
import { amount, area, clearance, length } from "../../units";
import { DataTable } from "../papers/datatable";
import { amountOf, areaNames, baseOf, type CheckLine, measured, type Share, type Total, type Worked } from "./answer";
import { placeName } from "./fields";

/** The rate a total came from, as the draft said it. */
export interface RateOf {
  readonly value: number;
  readonly unit: string;
  readonly per: string;
  readonly of?: string;
}

export interface Named {
  readonly products: readonly Stored<"products">[];
  readonly blocks: readonly Stored<"blocks">[];
  readonly surroundings: readonly Stored<"surroundings">[];
}

export function productName(named: Named, total: { readonly product?: string | undefined; readonly name?: string | undefined }): string {
  const record = named.products.find((p) => p.id === total.product);
  return record?.feature.properties.name ?? total.name ?? total.product ?? "";
}

const tool = (a: Amount) => {
  const m = measured(a);
  return amount({ value: m.value, unit: m.unit }, m.digits);
};

const howOf = (worked: Worked, figure: string) => worked.how?.find((h) => h.figure === figure);

const sentence = (text: string) => `${text.charAt(0).toUpperCase()}${text.slice(1)}.`;

/** Row length or plants with the server's words for how; a frozen pass has kept none, so the general ones stand in. */
function Counted(props: { worked: Worked; figure: "row_length_m" | "plants"; date: string; children: ComponentChildren }) {
  const t = useText();
  const said = howOf(props.worked, props.figure);
  return (
    <How
      formula={said ? sentence(said.formula) : t(props.figure === "plants" ? "pass-plants-how" : "pass-row-length-how")}
      source={said?.source || t("pass-source")}
      date={props.date}
    >
      {props.children}
    </How>
  );
}

/** The figures of a draft or of a frozen pass, with how each came about. */
export function Figures(props: {
  readonly worked: Worked;
  readonly rates: readonly RateOf[];
  readonly tank: Amount | undefined;
  readonly named: Named;
  readonly date: string;
  readonly zone: string;
  readonly map: FarmMap;
  /** A draft that can still be changed. */
  readonly planning?: boolean;
}) {
  const t = useText();
  useUnits();
  const { worked, rates, named } = props;
  const totals = worked.totals ?? [];
  return (
    <>
      <h2>{t("pass-areas")}</h2>
      <dl class="figures">
        {areaNames.map((name) => {
          const m2 = worked.areas[`${name}_m2`];
          if (m2 === undefined) return null;
          const said = howOf(worked, `areas.${name}_m2`);
          const means = name === "treated" || name === "covered" ? t(`pass-area-${name}-means`) : "";
          const formula = [said ? sentence(said.formula) : t(`pass-area-${name}-how`), means].filter(Boolean).join(" ");
          return [
            <dt key={`${name}-t`}>{t(`pass-area-${name}`)}</dt>,
            <dd key={name}>
              <How formula={formula} inputs={[["m²", number(m2, 1)]]} source={said?.source || t("pass-source")} date={props.date}>
                {area(m2)}
              </How>
            </dd>,
          ];
        })}
        {worked.row_length_m !== undefined && worked.row_length_m > 0 && (
          <>
            <dt>{t("pass-row-length")}</dt>
            <dd>
              <Counted worked={worked} figure="row_length_m" date={props.date}>
                {length(worked.row_length_m)}
              </Counted>
            </dd>
          </>
        )}
        {worked.plants !== undefined && worked.plants > 0 && (
          <>
            <dt>{t("pass-plants")}</dt>
            <dd>
              <Counted worked={worked} figure="plants" date={props.date}>
                {number(worked.plants)}
              </Counted>
            </dd>
          </>
        )}
      </dl>
      {(worked.entry_from || worked.first_harvest_on) && (
        <dl class="figures">
          {worked.entry_from && (
            <>
              <dt>{t("pass-entry-from")}</dt>
              <dd>
                <How formula={t("pass-clock-how")} date={props.date}>
                  {moment(worked.entry_from, props.zone)}
                </How>
              </dd>
            </>
          )}
          {worked.first_harvest_on && (
            <>
              <dt>{t("pass-first-harvest")}</dt>
              <dd>
                <How formula={t("pass-clock-how")} date={props.date}>
                  {day(worked.first_harvest_on)}
                </How>
              </dd>
            </>
          )}
        </dl>
      )}
      {totals.length > 0 && (
        <>
          <h2>{t("pass-totals")}</h2>
          <table>
            <thead>
              <tr>
                <th scope="col">{t("pass-col-product")}</th>
                <th scope="col">{t("pass-col-amount")}</th>
              </tr>
            </thead>
            <tbody>
              {totals.map((total, i) => (
                <tr key={i}>
                  <th scope="row">{productName(named, total)}</th>
                  <td>
                    <TotalHow total={total} rate={rates[i]} worked={worked} date={props.date} />
                  </td>
                </tr>
              ))}
              {worked.carrier && (
                <tr>
                  <th scope="row">{t("pass-carrier-total")}</th>
                  <td>
                    <How formula={t("pass-carrier-how")} source={t("pass-source")} date={props.date}>
                      {amount(worked.carrier, 1)}
                    </How>
                  </td>
                </tr>
              )}
            </tbody>
          </table>
        </>
      )}
      <TankSheet {...props} />
      {worked.mixing && worked.mixing.length > 0 && (
        <>
          <h3>{t("pass-mixing")}</h3>
          <ol>
            {worked.mixing.map((step, i) => (
              <li key={i}>{step}</li>
            ))}
          </ol>
        </>
      )}
      {worked.exclusion && <p>{t("pass-exclusion", { d: length(worked.exclusion.distance_m) })}</p>}
      {worked.distances && worked.distances.length > 0 && (
        <DataTable
          caption={t("pass-distances")}
          columns={[
            { key: "block", head: t("pass-col-block"), cell: (d) => named.blocks.find((b) => b.id === d.block)?.feature.properties.name ?? d.block },
            { key: "to", head: t("pass-col-to"), cell: (d) => toName(named, d.to, d.kind) },
            { key: "m", head: t("pass-col-distance"), cell: (d) => d.m, show: (d) => clearance(d.m) },
            {
              key: "treated",
              head: t("pass-col-treated-distance"),
              cell: (d) => d.treated?.m ?? null,
              show: (d) => (d.treated ? [clearance(d.treated.m), d.line_accuracy_m ? t("pass-line-off", { m: d.line_accuracy_m }) : d.drawn_by_eye ? t("pass-line-how") : ""].filter(Boolean).join(", ") : "–"),
            },
          ]}
          rows={worked.distances}
          keyOf={(d) => `${d.block} ${d.to}`}
          file="distances"
          first={{ key: "m", down: false }}
        />
      )}
      {worked.distances && worked.distances.length > 0 && <p class="hint">{t("pass-distances-how")}</p>}
      {worked.checks && worked.checks.length > 0 && (
        <>
          <h2>{t("pass-checks")}</h2>
          <p class="hint">{t("pass-checks-note")}</p>
          <Checks checks={worked.checks} map={props.map} />
        </>
      )}
    </>
  );
}

const worst = { stop: 0, caution: 1, ok: 2 } as const;

/** What was looked at, the gravest first, each with its figure, its share of the ground and its place. */
function Checks({ checks, map }: { checks: NonNullable<Worked["checks"]>; map: FarmMap }) {
  const t = useText();
  const [shown, setShown] = useState<CheckLine | null>(null);
  const count = (answer: CheckLine["answer"]) => checks.filter((c) => c.answer === answer).length;
  useEffect(() => {
    if (!shown?.at) return;
    const place: Geometry = { type: "Point", coordinates: [...shown.at] };
    map.setOverlay("pass-check", [...(shown.ground ? [{ geometry: shown.ground }] : []), { geometry: place, label: "✕" }], "missed");
    map.fit([shown.ground ?? place]);
    return () => map.setOverlay("pass-check", null);
  }, [map, shown]);
  const sorted = [...checks].sort((a, b) => worst[a.answer] - worst[b.answer]);
  return (
    <>
      <p>{t("pass-pattern-line", { ok: count("ok"), caution: count("caution"), stop: count("stop") })}</p>
      <ul class="checks">
        {sorted.map((c, i) => (
          <li key={i}>
            <Mark answer={c.answer} /> {c.why}
            {c.measured && c.measured.limit > 0 && (
              <span class="figure"> {t("pass-check-figure", { value: number(c.measured.value, 3), limit: number(c.measured.limit, 3), unit: c.measured.unit })}.</span>
            )}
            {c.share !== undefined && c.area_m2 !== undefined && <span> {t("pass-check-share", { share: `${number(c.share * 100, 1)} %`, area: area(c.area_m2) })}.</span>}
            {c.source && <span class="soft"> {t("pass-check-source", { source: c.source })}</span>}
            {c.at && (
              <button type="button" aria-pressed={shown === c} onClick={() => setShown(shown === c ? null : c)}>
                {t("pass-check-show")}
              </button>
            )}
          </li>
        ))}
      </ul>
    </>
  );
}

function toName(named: Named, id: string, kind: string): string {
  const s = named.surroundings.find((r) => r.id === id);
  return s ? placeName(s) : kind;
}

function TotalHow({ total, rate, worked, date }: { total: Total; rate: RateOf | undefined; worked: Worked; date: string }) {
  const t = useText();
  const base = baseOf(rate?.per ?? "acre");
  const baseName = t(`pass-total-base-${base}`);
  const baseText = {
    area: worked.areas.treated_m2 === undefined ? "" : area(worked.areas.treated_m2),
    spray: worked.carrier ? amount(worked.carrier, 1) : "",
    row: worked.row_length_m === undefined ? "" : length(worked.row_length_m),
    plants: worked.plants === undefined ? "" : number(worked.plants),
  }[base];
  const inputs: [string, string][] = [[baseName, baseText]];
  const said = (r: RateOf) => `${amount(r, 4)} / ${t(`pass-per-${r.per}` as "pass-per-acre")}`;
  if (rate) inputs.push([t("pass-total-rate"), rate.of ? `${said(rate)}, ${rate.of}` : said(rate)]);
  if (total.rate) inputs.push([t("pass-total-rate-product"), said(total.rate)]);
  inputs.push([t("pass-total-exact"), amount(total.amount, 6)]);
  return (
    <How formula={t("pass-total-how", { base: baseName })} inputs={inputs} source={t("pass-source")} date={date}>
      {tool(total.amount)}
    </How>
  );
}

function TankSheet({ worked, tank, named, planning }: Parameters<typeof Figures>[0]) {
  const t = useText();
  const tanks = worked.tanks;
  const totals = worked.totals ?? [];
  if (!tanks) return planning ? <p class="hint">{t("pass-tanks-none")}</p> : null;
  const share = (list: readonly Share[] | null, i: number) => {
    const one = list?.[i];
    return one ? tool(amountOf(one)) : "–";
  };
  return (
    <>
      <h2>{t("pass-tanks")}</h2>
      <p>
        {tanks.full > 0 && tank && <>{t("pass-tank-full", { n: tanks.full, size: amount(tank) })}. </>}
        {tanks.last && tanks.last.value > 0 && <>{t("pass-tank-last-of", { size: amount(tanks.last, 1) })}.</>}
      </p>
      <table>
        <thead>
          <tr>
            <th scope="col">{t("pass-col-product")}</th>
            {tanks.full > 0 && <th scope="col">{t("pass-tank-each")}</th>}
            {tanks.last && tanks.last.value > 0 && <th scope="col">{t("pass-tank-in-last")}</th>}
          </tr>
        </thead>
        <tbody>
          {totals.map((total, i) => (
            <tr key={i}>
              <th scope="row">{productName(named, total)}</th>
              {tanks.full > 0 && <td>{share(tanks.each, i)}</td>}
              {tanks.last && tanks.last.value > 0 && <td>{share(tanks.in_last, i)}</td>}
            </tr>
          ))}
        </tbody>
      </table>
      <p class="hint">
        {t("pass-tank-how")} {t("pass-tank-left")}
      </p>
    </>
  );
}

/** The cautions of every spray screen and print, and the marks on the map while figures show. */
export function Cautions() {
  const t = useText();
  return (
    <section>
      <h2>{t("pass-cautions")}</h2>
      {(["1", "2", "3", "4", "5", "6"] as const).map((n) => (
        <Caution key={n}>{t(`pass-caution-${n}`)}</Caution>
      ))}
    </section>
  );
}

export function useGround(map: FarmMap, worked: Pick<Worked, "treated" | "withheld" | "exclusion" | "distances"> | null): void {
  const treated = worked?.treated ?? null;
  const withheld = worked?.withheld ?? null;
  const exclusion = worked?.exclusion?.ground ?? null;
  const distances = worked?.distances ?? null;
  useEffect(() => {
    const ways = (distances ?? []).flatMap((d): Shape[] => {
      const near = d.treated?.nearest;
      if (!near || d.treated!.m === 0) return [];
      return [{ geometry: { type: "LineString", coordinates: [[...near.ground], [...near.feature]] }, label: clearance(d.treated!.m) }];
    });
    map.setOverlay("pass-exclusion", exclusion ? [{ geometry: exclusion }] : null, "group-hull");
    map.setOverlay("pass-ways", ways.length > 0 ? ways : null, "window");
    map.setOverlay("pass-treated", treated ? [{ geometry: treated }] : null, "treated");
    map.setOverlay("pass-withheld", withheld ? [{ geometry: withheld }] : null, "withheld");
    if (treated || withheld) map.fit([treated, withheld]);
    return () => {
      for (const name of ["pass-treated", "pass-withheld", "pass-exclusion", "pass-ways"]) map.setOverlay(name, null);
    };
  }, [map, treated, withheld, exclusion, distances]);
}
