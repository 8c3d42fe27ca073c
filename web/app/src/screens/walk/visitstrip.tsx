import { useState } from "preact/hooks";
import { moment } from "../../i18n";
import type { Farm } from "../../model/farm";
import { useRecords, useText } from "../../ui/hooks";
import { isPaused, resumed } from "./effort";
import type { Visiting } from "./visiting";

/** Hours and minutes of an instant on the farm's clock. */
export function clock(instant: string, zone: string): string {
  return moment(instant, zone).split(", ").pop() ?? "";
}

/** The visit under way in a line or two, or the ways to begin one. */
export function VisitStrip(props: {
  readonly visit: Visiting;
  readonly farm: Farm;
  readonly onStarted: () => void;
  /** Left out where the end of the visit is on the screen anyway. */
  readonly onClose: (() => void) | undefined;
  readonly onProblem: (thrown: unknown) => void;
}) {
  const t = useText();
  const { visit, farm } = props;
  const { zone } = farm.info;
  const [busy, setBusy] = useState(false);
  const finds = useRecords(farm, "finds").list;
  const attempt = (work: Promise<void>) => {
    setBusy(true);
    props.onProblem(null);
    work.catch(props.onProblem).finally(() => setBusy(false));
  };
  if (!visit.mine) {
    return (
      <section class="visit">
        <p class="hint">{t("walk-visit-none")}</p>
        <div class="buttons">
          <button type="button" class="big" disabled={busy} onClick={() => attempt(visit.start().then(props.onStarted))}>
            {t("walk-visit-start")}
          </button>
          {visit.others.map((v) => {
            const p = v.feature.properties;
            return (
              <button key={v.id} type="button" class="big" onClick={() => visit.join(v)}>
                {t(isPaused(p) ? "walk-visit-join-paused" : "walk-visit-join", { time: moment(p.started_at, zone) })}
              </button>
            );
          })}
        </div>
      </section>
    );
  }
  const { id, feature } = visit.mine;
  const count = finds.filter((f) => f.feature.properties.visit === id).length;
  const breaks = feature.properties.pauses ?? [];
  const since = breaks.find((b) => !b.to)?.from;
  return (
    <section class="visit">
      <p>
        {t("walk-visit-open", { time: clock(feature.properties.started_at, zone) })}. {t("walk-visit-finds", { n: count })}. {since && t("walk-visit-paused", { time: clock(since, zone) })}
      </p>
      <div class="buttons">
        {since && (
          <button type="button" class="big" onClick={() => attempt(visit.amend((p) => resumed(p, Date.now())))}>
            {t("walk-visit-resume")}
          </button>
        )}
        {props.onClose && (
          <button type="button" class="big" onClick={props.onClose}>
            {t("walk-visit-close")}
          </button>
        )}
      </div>
    </section>
  );
}
