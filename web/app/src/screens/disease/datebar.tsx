import { useId } from "preact/hooks";
import { day } from "../../i18n";
import { useText } from "../../ui/hooks";
import type { Day } from "./days";

/** Goes through the days of a block; its last stop is today. */
export function DateBar(props: { readonly days: readonly Day[]; readonly day: string | undefined; readonly onDay: (day: string | undefined) => void }) {
  const t = useText();
  const id = useId();
  const { days } = props;
  if (days.length === 0) return null;
  const found = days.findIndex((d) => d.day === props.day);
  const at = found < 0 ? days.length : found;
  const said = at === days.length ? t("disease-day-now") : day(days[at]!.day);
  const go = (to: number) => props.onDay(days[Math.max(0, to)]?.day);
  return (
    <div class="field datebar">
      <label for={id}>
        {t("disease-day")}: <output for={id}>{said}</output>
      </label>
      <span class="typed">
        <button type="button" aria-label={t("disease-day-back")} disabled={at === 0} onClick={() => go(at - 1)}>
          −
        </button>
        <input id={id} type="range" min={0} max={days.length} step={1} value={at} aria-valuetext={said} onInput={(e) => go(Number(e.currentTarget.value))} />
        <button type="button" aria-label={t("disease-day-on")} disabled={at === days.length} onClick={() => go(at + 1)}>
          +
        </button>
      </span>
      <p class="hint">{t("disease-day-hint")}</p>
    </div>
  );
}
