import { useState } from "preact/hooks";
import { useSignal, useText } from "../ui/hooks";
import { waiting } from "../ui/waiting";
import { locale } from "../i18n";
import { clockAheadS, roughly, worthSayingS } from "./clock";
import { halfEntered, newVersion, takeNewVersion } from "./update";

/** How much waits, always in sight; pressing it shows what. */
export function WaitingButton({ onOpen }: { onOpen: () => void }) {
  const t = useText();
  const count = useSignal(waiting);
  return (
    <button type="button" class={count > 0 ? "waiting" : "waiting none"} onClick={onOpen}>
      {count > 0 ? t("core-waiting", { n: count }) : t("offline-none")}
    </button>
  );
}

/** Says that a newer page is here, and goes over to it when asked and nothing is half entered. */
export function VersionNote() {
  const t = useText();
  const version = useSignal(newVersion);
  const half = useSignal(halfEntered);
  if (version === "none") return null;
  return (
    <div class="frame-note" role="status">
      <span>{t(version === "ready" ? "offline-version-ready" : "offline-version-elsewhere")}</span>
      <button type="button" disabled={half} onClick={takeNewVersion}>
        {t("offline-version-take")}
      </button>
      {half && <span>{t("offline-version-half")}</span>}
    </div>
  );
}

/** Says that this device's clock is off: what is found is kept with its times. */
export function ClockNote() {
  const t = useText();
  const ahead = useSignal(clockAheadS);
  if (ahead === null || Math.abs(ahead) < worthSayingS) return null;
  return (
    <div class="frame-note" role="status">
      {t(ahead > 0 ? "offline-clock-ahead" : "offline-clock-behind", { by: roughly(ahead, locale()) })}
    </div>
  );
}

/** Over plain http on a network name: what the browser takes away, and what gives it back. */
export function InsecureNote() {
  const t = useText();
  const [gone, setGone] = useState(false);
  if (globalThis.isSecureContext || gone) return null;
  return (
    <aside class="frame-note" role="note">
      <details>
        <summary>{t("offline-insecure")}</summary>
        <p>{t("offline-insecure-fix")}</p>
      </details>
      <button type="button" onClick={() => setGone(true)}>
        {t("core-close")}
      </button>
    </aside>
  );
}
