import type { ComponentChildren } from "preact";
import { useEffect, useRef } from "preact/hooks";
import { asProblem, type Problem, type ProblemItem } from "../api/problem";
import type { FarmMap } from "../map/farmmap";
import { useText } from "./hooks";

/** Stop, caution or ok: always a word and a shape beside the colour. */
export function Mark({ answer, children }: { answer: "ok" | "caution" | "stop"; children?: ComponentChildren }) {
  const t = useText();
  const [shape, word] = {
    ok: ["✓", t("core-ok")],
    caution: ["△", t("core-caution")],
    stop: ["✕", t("core-stop-word")],
  }[answer] as [string, string];
  return (
    <span class={`word ${answer}`}>
      <span aria-hidden="true">{shape}</span> {word}
      {children && <>: {children}</>}
    </span>
  );
}

/** A short caution from the trade's list, shown where the work is. */
export function Caution({ children }: { children: ComponentChildren }) {
  return (
    <p class="caution-note">
      <Mark answer="caution" /> {children}
    </p>
  );
}

/** The text at fault for one field of a form, if the problem names it. */
export function faultOf(problem: Problem | null, field: string): string | undefined {
  const hits = (problem?.errors ?? []).filter((e) => e.field === field || e.field === `properties.${field}`);
  return hits.length > 0 ? hits.map((e) => [e.detail, e.fix].filter(Boolean).join(" ")).join(" ") : undefined;
}

/**
 * A refusal: what, where and what to do. Places are marked on the map while it
 * shows. `fields` are the ones whose own input already shows the text.
 */
export function ProblemNote(props: { problem: unknown; map?: FarmMap; fields?: readonly string[]; onRetry?: () => void }) {
  const t = useText();
  const box = useRef<HTMLDivElement>(null);
  const problem = props.problem ? asProblem(props.problem) : null;
  const map = props.map;
  useEffect(() => {
    if (!problem) return;
    box.current?.focus();
    const placed = problem.errors.filter((e) => e.position);
    if (!map || placed.length === 0) return;
    map.setDefects(placed.map((e) => ({ at: e.position!, text: e.detail })));
    return () => map.setDefects(null);
  }, [props.problem, map]);
  if (!problem) return null;
  const shown = problem.errors.filter((e) => !e.field || !props.fields?.includes(e.field) || e.position);
  return (
    <div class="problem" role="alert" tabIndex={-1} ref={box}>
      <p>
        <Mark answer="stop" /> <strong>{problem.title}</strong>
      </p>
      {problem.detail && problem.detail !== problem.title && <p>{problem.detail}</p>}
      {shown.length > 0 && (
        <ul>
          {shown.map((e, i) => (
            <SaidItem key={i} item={e} map={map} />
          ))}
        </ul>
      )}
      {problem.logId && <p class="soft">{problem.logId}</p>}
      {props.onRetry && (
        <button type="button" onClick={props.onRetry}>
          {t("core-retry")}
        </button>
      )}
    </div>
  );
}

/** One thing said with its place and what would mend it. */
export function SaidItem({ item, map }: { item: ProblemItem; map: FarmMap | undefined }) {
  const t = useText();
  const numbered = (
    [
      ["core-problem-feature", item.feature],
      ["core-problem-part", item.part],
      ["core-problem-ring", item.ring],
      ["core-problem-vertex", item.vertex],
      ["core-problem-line", item.line],
    ] as const
  ).flatMap(([key, n]) => (n === undefined || n === null ? [] : [t(key, { n: String(n) })]));
  const at = item.position;
  const where = [...numbered, ...(at ? [`${at[0]?.toFixed(6)}, ${at[1]?.toFixed(6)}`] : [])].join(", ");
  return (
    <li>
      {item.detail}
      {where && <div class="soft">{t("core-problem-where", { where })}</div>}
      {item.fix && <div>{t("core-problem-fix", { fix: item.fix })}</div>}
      {at && map && (
        <button type="button" class="link" onClick={() => map.goTo(at)}>
          {t("core-problem-show")}
        </button>
      )}
    </li>
  );
}
