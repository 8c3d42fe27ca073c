import { number } from "../../../i18n";
import { useText } from "../../../ui/hooks";
import type { Phase } from "./work";

/** How far sending and reading are, in per cent, and the button that ends both. */
export function ImportProgress({ phase, onStop }: { phase: Extract<Phase, { step: "sending" | "reading" }>; onStop: () => void }) {
  const t = useText();
  const sending = phase.step === "sending";
  const [done, total] = sending ? [phase.sent, phase.total] : [phase.progress?.done ?? 0, phase.progress?.total ?? 0];
  const percent = total > 0 ? number(Math.floor((100 * Math.min(done, total)) / total)) : null;
  const title = t(sending ? "imports-sending" : "imports-reading", { file: phase.file });
  return (
    <section class="import-progress">
      {/* Only the change from sending to reading is read out. */}
      <p role="status">{title}</p>
      {percent === null ? <progress aria-label={title} /> : <progress aria-label={title} max={total} value={done} />}
      {percent !== null && <p>{sending ? t("imports-sent", { percent }) : t("imports-read-so-far", { percent, n: phase.progress?.features ?? 0 })}</p>}
      <div class="buttons">
        <button type="button" onClick={onStop}>
          {t("core-stop")}
        </button>
      </div>
    </section>
  );
}
