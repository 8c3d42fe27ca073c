import { useEffect } from "preact/hooks";
import type { Client } from "../api/client";
import { Keeping } from "../api/keeping";
import { moment } from "../i18n";
import { useAsked } from "./asked";
import { useText } from "./hooks";
import { Mark } from "./notes";

/** A page may stay open for days. */
const askAgainMs = 10 * 60_000;

/** Across every screen: the farm is to be erased, or its copies fail. Without an answer there is nothing to say. */
export function KeepNote({ api, zone }: { api: Client; zone: string }) {
  const t = useText();
  const { now, again } = useAsked((options) => new Keeping(api).state(options), [api]);
  useEffect(() => {
    const timer = setInterval(again, askAgainMs);
    return () => clearInterval(timer);
  }, [api]);
  const trouble = now?.copies?.made_here ? now.copies.trouble : "";
  if (!now?.leaving && !trouble) return null;
  return (
    <aside class="frame-note" role="note" aria-label={t("core-keeping-note")}>
      {now?.leaving && (
        <span>
          <Mark answer="caution" /> {t("core-farm-leaving", { when: moment(now.leaving.at, zone), who: now.leaving.by })}
        </span>
      )}
      {trouble && (
        <span>
          <Mark answer="caution" /> {trouble}
        </span>
      )}
    </aside>
  );
}
