import { useEffect, useState } from "preact/hooks";
import { day as dayText } from "../../i18n";
import { feature, type Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { uuid7 } from "../../model/uuid7";
import { plantPlace } from "../../rowmap/rowplace";
import { drawnRows } from "../../rowmap/rows";
import { Check, TextField } from "../../ui/form";
import { useRecords, useText } from "../../ui/hooks";
import { Caution, ProblemNote } from "../../ui/notes";
import type { PlaceProps } from "../place";
import { decisionOf, type Take } from "./wire";
import { today, walk } from "./walk";

/** A signed list on the phone: plant by plant in walking order, ticked off with or without a network. */
export function Crew({ farm, map, address, go }: PlaceProps) {
  const t = useText();
  const reviews = useRecords(farm, "reviews");
  const removals = useRecords(farm, "removals");
  const rowRecords = useRecords(farm, "rows");
  useRecords(farm, "blocks");
  const id = address.view?.slice("crew:".length) ?? "";
  const decision = decisionOf(reviews.list.find((r) => r.id === id));
  const [roots, setRoots] = useState(true);
  const [bagged, setBagged] = useState(true);
  const [disposal, setDisposal] = useState("");
  const [problem, setProblem] = useState<unknown>(null);
  const block = farm.find("blocks", decision?.block);
  useEffect(() => {
    if (block) map.fit([block.feature.geometry]);
  }, [map, block?.id]);
  if (!decision || !block) return <p>{reviews.state === "ready" ? t("removals-no-list") : t("core-loading")}</p>;
  const done = new Map<string, Stored<"removals">>();
  for (const r of removals.list) {
    const p = r.feature.properties;
    if (p.review === id && p.done_on) for (const at of p.plants) done.set(`${at.row} ${at.plant}`, r);
  }
  const spacing = block.feature.properties.plant_spacing_m ?? null;
  const rows = drawnRows(rowRecords.list, block.id, spacing);
  const may = mayWrite(farm.info.role, "removals");
  const tick = async (p: Take) => {
    setProblem(null);
    try {
      const was = done.get(`${p.row} ${p.plant}`);
      if (was) {
        await farm.takeBack(was);
        return;
      }
      const at = plantPlace(rows, p.row, p.plant, spacing);
      await farm.keep(
        "removals",
        feature<"removals">(uuid7(), at ? { type: "Point", coordinates: at } : null, {
          block: block.id,
          plants: [{ row: p.row, plant: p.plant }],
          roots_out: roots,
          bagged,
          done_on: today(farm.info.zone),
          review: id,
          ...(disposal.trim() ? { disposal: disposal.trim() } : {}),
        }),
      );
    } catch (thrown) {
      setProblem(thrown);
    }
  };
  const list = decision.list.remove;
  const out = list.filter((p) => done.has(`${p.row} ${p.plant}`)).length;
  return (
    <div class="removals walk">
      <h1>{t("removals-crew-title", { block: block.feature.properties.name })}</h1>
      <p role="status">
        <strong>{t("removals-progress", { out, n: list.length })}</strong>
      </p>
      <progress max={list.length} value={out} aria-label={t("removals-progress", { out, n: list.length })} />
      <Caution>{t("removals-crew-only")}</Caution>
      <details>
        <summary>{t("removals-how-done", { roots: t(roots ? "removals-roots-yes" : "removals-roots-no"), bag: t(bagged ? "removals-bag-yes" : "removals-bag-no") })}</summary>
        <Check label={t("removals-roots")} checked={roots} onChecked={setRoots} />
        <Check label={t("removals-bagged")} checked={bagged} onChecked={setBagged} />
        <TextField label={t("removals-disposal")} optional value={disposal} onValue={setDisposal} />
        <Caution>{t("disease-caution-8")}</Caution>
      </details>
      {problem !== null && <ProblemNote problem={problem} />}
      {!may && <p>{t("removals-may-not")}</p>}
      {walk(list).map((r) => (
        <section key={r.row} aria-label={t("removals-crew-row", { row: r.row })}>
          <h2>{t("removals-crew-walk", { row: r.row, from: r.plants[0]!.plant, to: r.plants.at(-1)!.plant })}</h2>
          <ul class="plain ticks-list">
            {r.plants.map((p) => {
              const was = done.get(`${p.row} ${p.plant}`);
              const q = was?.feature.properties;
              return (
                <li key={p.plant}>
                  <button type="button" role="checkbox" aria-checked={Boolean(was)} class="tick" disabled={!may} onClick={() => void tick(p)}>
                    <span class="tick-box" aria-hidden="true">
                      {was ? "✓" : ""}
                    </span>
                    <span>
                      <strong>{t("removals-crew-plant", { row: p.row, plant: p.plant })}</strong>
                      {q ? (
                        <span class="soft">{t("removals-crew-done", { day: q.done_on ? dayText(q.done_on) : "", roots: t(q.roots_out ? "removals-roots-yes" : "removals-roots-no"), bag: t(q.bagged ? "removals-bag-yes" : "removals-bag-no") })}</span>
                      ) : (
                        p.why !== "confirmed" && <span class="soft">{t(`removals-why-${p.why}`)}</span>
                      )}
                    </span>
                  </button>
                </li>
              );
            })}
          </ul>
        </section>
      ))}
      <p>
        <button type="button" class="big" onClick={() => go({ view: `decisions:${id}` })}>
          {t("removals-back-to-decision")}
        </button>
      </p>
    </div>
  );
}
