import { useState } from "preact/hooks";
import type { Client } from "../../api/client";
import { day, moment, named, number } from "../../i18n";
import type { FarmMap } from "../../map/farmmap";
import type { Farm } from "../../model/farm";
import type { Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { useAsked } from "../../ui/asked";
import { useRecords, useSignal, useText, useUnits } from "../../ui/hooks";
import { How } from "../../ui/how";
import { Caution, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import { area, bearing, clearance, length, spacing } from "../../units";
import type { PlaceProps } from "../place";
import { type GroundAnswer, nearLines, useGround } from "./measured";

/** One block: what it is, its figures with how they came about, and what can be done. */
export function BlockSheet({ farm, api, figures, map, block, go }: PlaceProps & { block: Stored<"blocks"> }) {
  const t = useText();
  useUnits();
  const measured = useSignal(figures.now).of.get(block.id);
  const answer = useGround(api, farm, block);
  const p = block.feature.properties;
  const writes = mayWrite(farm.info.role, "blocks");
  const [problem, setProblem] = useState<unknown>(null);
  const takeOff = async () => {
    setProblem(null);
    try {
      const closed = await farm.remove(block);
      go({ block: undefined, view: undefined });
      say(t("ground-taken-off", { name: p.name }), () => void farm.put("blocks", block.feature, closed));
    } catch (thrown) {
      setProblem(thrown);
    }
  };
  const said: [string, string | undefined][] = [
    [t("ground-crop"), p.crop && named("ground-crop-", p.crop)],
    [t("ground-cultivar"), p.cultivar],
    [t("ground-planted-on"), p.planted_on && day(p.planted_on)],
    [t("ground-follows"), p.outline_follows && named("ground-follows-", p.outline_follows)],
    [t("ground-row-spacing"), p.row_spacing_m === undefined ? undefined : spacing(p.row_spacing_m)],
    [t("ground-plant-spacing"), p.plant_spacing_m === undefined ? undefined : spacing(p.plant_spacing_m)],
    [t("ground-bearing"), p.row_bearing_deg === undefined ? undefined : bearing(p.row_bearing_deg)],
    [t("ground-first-row"), p.first_row_side && named("ground-side-", p.first_row_side)],
    [t("ground-first-plant"), p.first_plant_end && named("ground-end-", p.first_plant_end)],
  ];
  return (
    <>
      <p>
        <button type="button" class="link" onClick={() => go({ block: undefined, view: undefined })}>
          ← {t("ground-blocks")}
        </button>
      </p>
      <h1>{p.name}</h1>
      <dl class="figures">
        <dt>{t("ground-area")}</dt>
        <dd>{measured ? <OutlineArea block={block} farm={farm} m2={measured.outline_m2} /> : "…"}</dd>
        <RowFigures farm={farm} block={block} answer={answer} />
        {said.map(([name, value]) => [<dt key={name}>{name}</dt>, <dd key={`${name} value`}>{value ?? <span class="soft">{t("core-not-said")}</span>}</dd>])}
      </dl>
      <SeenBy api={api} block={block.id} />
      <ProblemNote problem={problem} />
      <div class="buttons">
        {writes && (
          <>
            <button type="button" onClick={() => go({ view: "edit" })}>
              {t("ground-edit")}
            </button>
            <button type="button" onClick={() => go({ view: "rows" })}>
              {t("ground-lay")}
            </button>
          </>
        )}
        <button type="button" onClick={() => go({ view: "plants" })}>
          {t("ground-plant-map")}
        </button>
        <button type="button" onClick={() => go({ view: "history" })}>
          {t("ground-history")}
        </button>
        {writes && (
          <button type="button" onClick={() => void takeOff()}>
            {t("ground-take-off")}
          </button>
        )}
      </div>
      {!writes && <p class="soft">{t("ground-reader")}</p>}
      <NearTable farm={farm} map={map} answer={answer} />
    </>
  );
}

/** Who can see this block, always: the server says it. */
function SeenBy({ api, block }: { api: Client; block: string }) {
  const t = useText();
  const asked = useAsked((options) => api.net.json<{ says: string }>(`${api.path("seen-by")}?block=${encodeURIComponent(block)}`, options), [api, block]);
  return <p class="soft">{asked.now?.says ?? t(asked.problem === null ? "core-loading" : "ground-seen-by-unknown")}</p>;
}

function OutlineArea({ block, farm, m2 }: { block: Stored<"blocks">; farm: Farm; m2: number }) {
  const t = useText();
  const { geometry, properties } = block.feature;
  const parts = geometry.type === "Polygon" ? [geometry.coordinates] : geometry.coordinates;
  const corners = parts.flat().reduce((n, ring) => n + ring.length - 1, 0);
  const holes = parts.reduce((n, rings) => n + rings.length - 1, 0);
  const at = block.extra["at"];
  const drawn = [t("ground-how-corners", { n: corners }), t("ground-how-holes", { n: holes })].join(", ");
  return (
    <How
      formula={t("ground-how-outline")}
      inputs={[
        [t("ground-outline"), drawn],
        [t("ground-follows"), properties.outline_follows ? named("ground-follows-", properties.outline_follows) : t("core-not-said")],
      ]}
      source={t("ground-how-server", { revision: block.revision === null ? "–" : String(block.revision) })}
      date={typeof at === "string" ? moment(at, farm.info.zone) : undefined}
    >
      {area(m2)}
    </How>
  );
}

function RowFigures({ farm, block, answer }: { farm: Farm; block: Stored<"blocks">; answer: GroundAnswer | null }) {
  const t = useText();
  const rows = useRecords(farm, "rows");
  const mine = rows.list.filter((r) => r.feature.properties.block === block.id);
  if (rows.state === "ready" && mine.length === 0) {
    return (
      <>
        <dt>{t("ground-col-rows")}</dt>
        <dd>{t("ground-rows-none")}</dd>
      </>
    );
  }
  const places = mine.reduce((n, r) => n + (r.feature.properties.plants ?? 0), 0);
  const missing = mine.reduce((n, r) => n + (r.feature.properties.missing?.length ?? 0), 0);
  const rowSpacing = block.feature.properties.row_spacing_m;
  return (
    <>
      <dt>{t("ground-col-rows")}</dt>
      <dd>
        <strong>{mine.length}</strong>
      </dd>
      {answer?.row_length_m ? (
        <>
          <dt>{t("ground-row-length")}</dt>
          <dd>
            <How formula={t("ground-how-rows-record")} inputs={[[t("ground-col-rows"), String(mine.length)]]} source={t("ground-how-server-now")}>
              {length(answer.row_length_m)}
            </How>
          </dd>
        </>
      ) : null}
      {answer?.row_length_m && answer.areas.planted_m2 && rowSpacing !== undefined ? (
        <>
          <dt>{t("ground-planted")}</dt>
          <dd>
            <How
              formula={t("ground-how-planted")}
              inputs={[
                [t("ground-row-length"), length(answer.row_length_m)],
                [t("ground-row-spacing"), spacing(rowSpacing)],
              ]}
              source={t("ground-how-server-now")}
            >
              {area(answer.areas.planted_m2)}
            </How>
          </dd>
        </>
      ) : null}
      <dt>{t("ground-plants")}</dt>
      <dd>
        <How formula={t("ground-how-rows-record")} inputs={[[t("ground-plants"), t("ground-plant-places", { places, missing })]]}>
          {number(places - missing)}
        </How>
      </dd>
    </>
  );
}

/** What lies near, nearest first: distances are cut to whole feet, never made longer. */
function NearTable({ farm, map, answer }: { farm: Farm; map: FarmMap; answer: GroundAnswer | null }) {
  const t = useText();
  const near = useRecords(farm, "surroundings");
  const lines = nearLines(answer, near.list);
  if (lines.length === 0) return null;
  return (
    <>
      <h2>{t("ground-nearest")}</h2>
      <table>
        <thead>
          <tr>
            <th scope="col">{t("ground-near-kind")}</th>
            <th scope="col" class="num">
              {t("ground-distance")}
            </th>
          </tr>
        </thead>
        <tbody>
          {lines.map((l) => (
            <tr key={l.id}>
              <th scope="row">
                <button type="button" class="link" onClick={() => map.choose({ layer: "surroundings", id: l.id })}>
                  {l.name || named("ground-kind-", l.kind)}
                </button>
                <div class="soft under">
                  {l.name ? named("ground-kind-", l.kind) : ""}
                  {l.byEye ? ` – ${t("ground-by-eye").toLowerCase()}` : ""}
                </div>
              </th>
              <td class="num">{clearance(l.m)}</td>
            </tr>
          ))}
        </tbody>
      </table>
      <Caution>{t("core-caution-drawn")}</Caution>
    </>
  );
}
