import { useMemo } from "preact/hooks";
import { named } from "../../i18n";
import type { Farm } from "../../model/farm";
import type { FarmMap } from "../../map/farmmap";
import type { Stored } from "../../model/kinds";
import { useRecords, useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { wallTime } from "../pass/zoned";
import { looks } from "./find";
import { clock } from "./visitstrip";

/** The block's finds of this day, the newest first. */
export function Today({ farm, map, block }: { farm: Farm; map: FarmMap; block: string }) {
  const t = useText();
  const finds = useRecords(farm, "finds");
  const { zone } = farm.info;
  const day = wallTime(Date.now(), zone).slice(0, 10);
  const list = useMemo(
    () =>
      finds.list
        .filter((f) => f.feature.properties.block === block && wallTime(f.feature.properties.found_at, zone).startsWith(day))
        .sort((a, b) => b.feature.properties.found_at.localeCompare(a.feature.properties.found_at)),
    [finds.list, block, zone, day],
  );
  return (
    <section>
      <h2>{t("walk-today")}</h2>
      {finds.state === "failed" && <ProblemNote problem={finds.failure} onRetry={() => void farm.load("finds", true)} />}
      {finds.state === "loading" && <p>{t("core-loading")}</p>}
      {finds.state === "ready" && list.length === 0 && <p>{t("walk-today-none")}</p>}
      <ul class="today">
        {list.map((f) => (
          <li key={f.id}>
            <button
              type="button"
              class="link big"
              onClick={() => {
                map.choose({ layer: "finds", id: f.id });
                map.goTo(f.feature.geometry.coordinates);
              }}
            >
              <FindLine find={f} zone={zone} />
            </button>
          </li>
        ))}
      </ul>
    </section>
  );
}

function FindLine({ find, zone }: { find: Stored<"finds">; zone: string }) {
  const t = useText();
  const p = find.feature.properties;
  const said = {
    cause: looks(p),
    row: String(p.row ?? ""),
    plant: String(p.plant ?? ""),
    time: clock(p.found_at, zone),
    severity: p.severity === undefined ? t("core-not-said") : t(`walk-severity-${p.severity}`),
    state: named("walk-state-", p.state),
  };
  const photos = p.photos?.length ?? 0;
  return (
    <>
      {p.row !== undefined && p.plant !== undefined ? t("walk-find-line", said) : t("walk-find-line-bare", said)}
      {photos > 0 && `, ${t("walk-photos", { n: photos })}`}
    </>
  );
}
