import { useText } from "./hooks";
import { MapMark } from "./mark";

/** What the marks on the map mean. */
export function MapKey({ onClose }: { onClose: () => void }) {
  const t = useText();
  const causes = [
    ["orange-rust", "core-mark-rust"],
    ["cane-leaf-rust", "core-mark-other-rust"],
    ["crown-gall", "core-mark-gall"],
    ["other", "core-mark-other"],
  ] as const;
  const states = [
    ["suspected", "core-mark-suspected"],
    ["sampled", "core-mark-sampled"],
    ["confirmed", "core-mark-confirmed"],
    ["refuted", "core-mark-refuted"],
    ["removed", "core-mark-removed"],
  ] as const;
  const grounds = ["treated", "withheld", "doubled", "missed", "unseen", "water", "hull", "window", "earlier", "ring"] as const;
  return (
    <aside class="map-key" aria-label={t("core-key")}>
      <h2>{t("core-key")}</h2>
      <ul>
        {causes.map(([cause, key]) => (
          <li key={cause}>
            <MapMark look={{ cause, state: "suspected" }} /> {t(key)}
          </li>
        ))}
      </ul>
      <ul>
        {states.map(([state, key]) => (
          <li key={state}>
            <MapMark look={{ cause: "orange-rust", state }} /> {t(key)}
          </li>
        ))}
        <li>
          {([0, 1, 2, 3] as const).map((severity) => (
            <MapMark key={severity} look={{ cause: "orange-rust", state: "confirmed", severity }} />
          ))}
          {t("core-mark-severity")}
        </li>
      </ul>
      <ul>
        {grounds.map((g) => (
          <li key={g}>
            <span class={`swatch swatch-${g}`} aria-hidden="true" /> {t(`core-mark-${g}`)}
          </li>
        ))}
      </ul>
      <button type="button" onClick={onClose}>
        {t("core-close")}
      </button>
    </aside>
  );
}
