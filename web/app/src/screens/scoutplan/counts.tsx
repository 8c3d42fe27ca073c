import { type PastCount, type Programme, Scouting } from "../../api/scouting";
import { day, locale, number } from "../../i18n";
import { useAsked } from "../../ui/asked";
import { Choice } from "../../ui/form";
import { useRecords, useText } from "../../ui/hooks";
import { Caution, ProblemNote } from "../../ui/notes";
import { DataTable } from "../papers/datatable";
import type { Column } from "../papers/table";
import type { PlaceProps } from "../place";
import { drawn, frame, height, width } from "./picture";
import { levelText, rateText } from "./programmes";
import "./scoutplan.css";

/** What a block's visits counted through a season, each programme as picture and table. */
export function PastCounts(props: PlaceProps) {
  const t = useText();
  const { farm, address, go } = props;
  const blocks = useRecords(farm, "blocks");
  const block = farm.find("blocks", address.block);
  return (
    <>
      <h1>{t("scoutplan-counts-title")}</h1>
      <Choice label={t("scoutplan-block")} value={block?.id ?? ""} choices={blocks.list.map((b) => ({ value: b.id, label: b.feature.properties.name }))} onValue={(id) => go({ block: id })} />
      {block ? <OfBlock key={block.id} {...props} block={block.id} /> : <p>{t("scoutplan-choose-block")}</p>}
    </>
  );
}

function OfBlock({ farm, api, address, block }: PlaceProps & { block: string }) {
  const t = useText();
  const { now, problem, again } = useAsked((options) => new Scouting(api).pastCounts(block, address.season, options), [api, block, address.season]);
  if (problem !== null) return <ProblemNote problem={problem} onRetry={again} />;
  if (!now) return <p>{t("core-loading")}</p>;
  const zone = farm.info.zone;
  return (
    <>
      <p>{t("scoutplan-counts-season", { season: String(now.season) })}</p>
      {now.series.length === 0 && <p>{t("scoutplan-counts-none")}</p>}
      {now.series.map(({ programme: p, counts }) => {
        const columns: Column<PastCount>[] = [
          { key: "at", head: t("scoutplan-on"), cell: (c) => c.at, show: (c) => day(c.at, zone) },
          { key: "hits", head: t("scoutplan-hits"), cell: (c) => c.hits },
          { key: "n", head: t("scoutplan-n"), cell: (c) => c.n },
          { key: "rate", head: t("scoutplan-rate"), cell: (c) => c.rate, show: (c) => rateText(c.rate, p, t) },
          { key: "interval", head: t("scoutplan-interval", { n: number(p.sureness * 100, 1) }), cell: (c) => `${rateText(c.interval[0], p, t)} – ${rateText(c.interval[1], p, t)}` },
          { key: "answer", head: t("scoutplan-answer"), cell: (c) => (hasLevel(p) ? c.says : t("scoutplan-level-none")) },
        ];
        return (
          <section key={p.id}>
            <h2>{p.title}</h2>
            <p>
              {p.what}. {t("scoutplan-level")}: {levelText(p, t)}. <span class="soft">({p.source})</span>
            </p>
            <Picture programme={p} counts={counts} zone={zone} />
            <DataTable under caption={t("scoutplan-counts-of", { title: p.title })} columns={columns} rows={counts} keyOf={(c) => `${c.visit} ${c.at}`} file={`${farm.id}-${p.id}-${now.season}`} />
          </section>
        );
      })}
      {now.left_out > 0 && <p>{t("scoutplan-left-out-counts", { n: now.left_out })}</p>}
      {now.series.length > 0 && (
        <>
          <p class="hint">{now.how}</p>
          <Caution>{now.caution}</Caution>
        </>
      )}
    </>
  );
}

const hasLevel = (p: Programme) => p.any || p.level !== null;

/** Each count as a mark with its exact interval; the answer shows by the mark's shape, in grey as well. */
function Picture({ programme: p, counts, zone }: { programme: Programme; counts: readonly PastCount[]; zone: string }) {
  const t = useText();
  const d = drawn(counts, p.level);
  const floor = height - frame.bottom;
  const month = new Intl.DateTimeFormat(locale(), { month: "short", timeZone: "UTC" });
  return (
    <figure class="counts-picture">
      <svg viewBox={`0 0 ${width} ${height}`} role="img" aria-label={t("scoutplan-picture", { title: p.title, n: counts.length, first: day(counts[0]!.at, zone), last: day(counts.at(-1)!.at, zone) })}>
        {d.rates.map((r) => (
          <g key={r.value}>
            <line class="grid" x1={frame.left} x2={width - frame.right} y1={r.at} y2={r.at} />
            <text x={frame.left - 6} y={r.at + 5} text-anchor="end">
              {p.method === "binomial" ? `${number(r.value * 100, 1)}%` : number(r.value, 2)}
            </text>
          </g>
        ))}
        {d.months.map((m) => (
          <g key={m.value}>
            <line class="grid" x1={m.at} x2={m.at} y1={floor} y2={floor + 6} />
            <text x={m.at + 3} y={height - 10}>
              {month.format(m.value)}
            </text>
          </g>
        ))}
        <line class="axis" x1={frame.left} x2={width - frame.right} y1={floor} y2={floor} />
        {d.level !== null && <line class="level" x1={frame.left} x2={width - frame.right} y1={d.level} y2={d.level} />}
        {d.dots.map((dot) => (
          <g key={`${dot.count.visit} ${dot.count.at}`} transform={`translate(${dot.x} 0)`}>
            <path class="interval" d={`M0 ${dot.high}V${dot.low}M-5 ${dot.high}H5M-5 ${dot.low}H5`} />
            <path class={`dot ${hasLevel(p) ? dot.count.answer : "none"}`} transform={`translate(0 ${dot.y})`} d={shapes[hasLevel(p) ? dot.count.answer : "none"]} />
          </g>
        ))}
      </svg>
      <figcaption>
        {(["above", "below", "cannot-tell", "none"] as const)
          .filter((v) => counts.some((c) => (hasLevel(p) ? c.answer : "none") === v))
          .map((v) => (
            <span key={v}>
              <svg viewBox="-9 -9 18 18" aria-hidden="true">
                <path class={`dot ${v}`} d={shapes[v]} />
              </svg>
              {t(`scoutplan-is-${v}`)}
            </span>
          ))}
        {d.level !== null && (
          <span>
            <svg viewBox="-12 -9 24 18" aria-hidden="true">
              <path class="level" d="M-12 0H12" />
            </svg>
            {t("scoutplan-level")}
          </span>
        )}
      </figcaption>
    </figure>
  );
}

const shapes = {
  above: "M0 -7L7 6H-7Z",
  below: "M0 7L7 -6H-7Z",
  "cannot-tell": "M-5.5 -5.5H5.5V5.5H-5.5Z",
  none: "M-5.5 0A5.5 5.5 0 1 0 5.5 0A5.5 5.5 0 1 0 -5.5 0Z",
} as const;
