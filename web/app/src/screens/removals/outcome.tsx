import { useEffect, useState } from "preact/hooks";
import { day, language } from "../../i18n";
import { TextField } from "../../ui/form";
import { useRecords, useSignal, useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import type { PlaceProps } from "../place";
import { type Area, type FollowUp, followUp, type Share } from "./wire";

/** What became of a decision: the share of infected plants before and after, and places for the next order. */
export function AfterIt({ farm, api, review }: PlaceProps & { review: string }) {
  const t = useText();
  const [since, setSince] = useState("");
  const [asOf, setAsOf] = useState("");
  const [answer, setAnswer] = useState<FollowUp | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const spoken = useSignal(language);
  const removals = useRecords(farm, "removals").list;
  useEffect(() => {
    let gone = false;
    setProblem(null);
    followUp(api, review, { ...(since ? { since } : {}), ...(asOf ? { asOf } : {}) }).then(
      (got) => gone || setAnswer(got),
      (thrown) => gone || setProblem(thrown),
    );
    return () => {
      gone = true;
    };
  }, [api, review, since, asOf, spoken, removals]);
  return (
    <section>
      <h2>{t("removals-after-title")}</h2>
      <div class="four no-print">
        <TextField label={t("removals-since")} type="date" optional value={since} onValue={setSince} />
        <TextField label={t("removals-until")} type="date" optional value={asOf} onValue={setAsOf} />
      </div>
      {problem !== null && <ProblemNote problem={problem} />}
      {answer && (
        <>
          {answer.since <= answer.until && <p>{t("removals-span", { since: day(answer.since), until: day(answer.until) })}</p>}
          <p>{t("removals-after-progress", { out: answer.taken, n: answer.listed, back: answer.back })}</p>
          <Picture areas={answer.areas} />
          <table>
            <caption>{t("removals-after-table")}</caption>
            <thead>
              <tr>
                <th scope="col">{t("removals-area")}</th>
                <th scope="col">{t("removals-before")}</th>
                <th scope="col">{t("removals-after")}</th>
              </tr>
            </thead>
            <tbody>
              {answer.areas.map((a) => (
                <tr key={String(a.group)}>
                  <th scope="row">{areaName(a, t)}</th>
                  <td>{shareText(a.before, t)}</td>
                  <td>{shareText(a.after, t)}</td>
                </tr>
              ))}
            </tbody>
          </table>
          {answer.says.map((s) => (
            <p key={s}>{s}</p>
          ))}
          {answer.places && (
            <p>
              <strong>{t("removals-places", { n: answer.places.empty })}</strong> {answer.places.how}
            </p>
          )}
          <p class="hint">{answer.how}</p>
        </>
      )}
    </section>
  );
}

type T = ReturnType<typeof useText>;

function areaName(a: Area, t: T): string {
  if (a.group === null) return t("removals-area-block");
  return t("removals-area-group", { n: a.group + 1, first: a.first_row ?? 0, last: a.last_row ?? 0, from: a.from ?? 0, to: a.to ?? 0 });
}

const inPercent = (share: number): string => (100 * share).toFixed(1);

function shareText(s: Share | null, t: T): string {
  return s ? t("removals-share", { infected: s.infected, inspected: s.inspected, share: inPercent(s.share), low: inPercent(s.low), high: inPercent(s.high) }) : t("removals-not-looked");
}

const width = 360;
const left = 96;
const lineHeight = 56;

/** Shares with their intervals: a hollow circle before, a filled one after; the same in grey. */
function Picture({ areas }: { areas: readonly Area[] }) {
  const t = useText();
  const most = Math.max(0.05, ...areas.flatMap((a) => [a.before?.high ?? 0, a.after?.high ?? 0]));
  const step = [0.01, 0.02, 0.05, 0.1, 0.2, 0.25].find((s) => most / s <= 5) ?? 0.25;
  const end = Math.min(1, Math.ceil(most / step - 1e-9) * step);
  const x = (share: number) => left + (share / end) * (width - left - 16);
  const height = areas.length * lineHeight + 40;
  const ticks = Array.from({ length: Math.round(end / step) + 1 }, (_, i) => i * step);
  return (
    <svg class="shares" viewBox={`0 0 ${width} ${height}`} role="img" aria-label={t("removals-picture")}>
      {ticks.map((v) => (
        <g key={v}>
          <line x1={x(v)} x2={x(v)} y1={8} y2={height - 30} class="grid" />
          <text x={x(v)} y={height - 14} text-anchor="middle">
            {Math.round(v * 100)} %
          </text>
        </g>
      ))}
      {areas.map((a, i) => {
        const y = 8 + i * lineHeight + lineHeight / 2;
        return (
          <g key={String(a.group)}>
            <text x={4} y={y + 5}>
              {a.group === null ? t("removals-area-block") : t("removals-area-short", { n: a.group + 1 })}
            </text>
            <Whisker share={a.before} y={y - 10} x={x} hollow />
            <Whisker share={a.after} y={y + 10} x={x} />
          </g>
        );
      })}
    </svg>
  );
}

function Whisker({ share, y, x, hollow }: { share: Share | null; y: number; x: (s: number) => number; hollow?: boolean }) {
  if (!share) return null;
  return (
    <g class={hollow ? "whisker hollow" : "whisker"}>
      <line x1={x(share.low)} x2={x(share.high)} y1={y} y2={y} />
      <line x1={x(share.low)} x2={x(share.low)} y1={y - 4} y2={y + 4} />
      <line x1={x(share.high)} x2={x(share.high)} y1={y - 4} y2={y + 4} />
      <circle cx={x(share.share)} cy={y} r={6} />
    </g>
  );
}
