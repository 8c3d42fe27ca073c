import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { day, moment, number } from "../../../i18n";
import type { PlantAt, Stored } from "../../../model/kinds";
import { mayWrite } from "../../../model/rights";
import { inSeason } from "../../../model/season";
import { uuid7 } from "../../../model/uuid7";
import { plantId, plantOf } from "../../../rowmap/marks";
import { RowMap } from "../../../rowmap/rowmap";
import { lastPlant, plantPlace, type Stretch } from "../../../rowmap/rowplace";
import { inWords } from "../../../rowmap/words";
import { MainAction } from "../../../ui/action";
import { Check, Choice, TextField } from "../../../ui/form";
import { useText } from "../../../ui/hooks";
import { MapCover } from "../../../ui/mapcover";
import { Caution, ProblemNote } from "../../../ui/notes";
import { say } from "../../../ui/undo";
import type { PlaceProps } from "../../place";
import { firstForm, recall, remember } from "../../walk/find";
import { type BlockPlants, useBlockPlants } from "../../../rowmap/blockplants";
import { PlantKey, PlantTable } from "./planttable";
import "./planting.css";
import { saveMarks, saveRemoval, saveSeen, type Undo } from "./saving";

const modes = ["look", "missing", "replanted", "removed", "seen"] as const;
type Mode = (typeof modes)[number];

const nothing: ReadonlySet<number> = new Set();
const today = () => new Date().toLocaleDateString("sv-SE");

/** Every plant of a block by row and number: what is known of it, and what happened to it. */
export function PlantsSheet({ farm, map, go, address, block }: PlaceProps & { block: Stored<"blocks"> }) {
  const t = useText();
  const zone = farm.info.zone;
  const [of, setOf] = useState("");
  const plants = useBlockPlants(farm, block, (v) => (of ? v.id === of : inSeason(v.feature.properties.started_at, address.season, zone)));
  const { picture, marks } = plants;
  const [mode, setMode] = useState<Mode>("look");
  const [cursor, setCursor] = useState<PlantAt | null>(null);
  const [drafted, setDrafted] = useState<ReadonlySet<number>>(nothing);
  const [stretch, setStretch] = useState<{ from: PlantAt; to: PlantAt | null } | null>(null);
  const [northUp, setNorthUp] = useState(false);
  const [onMap, setOnMap] = useState(false);
  const [on, setOn] = useState(today);
  const [roots, setRoots] = useState(false);
  const [disposal, setDisposal] = useState("");
  const [visit, setVisit] = useState("");
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  const [taken, setTaken] = useState<{ n: number; by: "tap" | "key" }>({ n: 0, by: "tap" });
  // One id for all tries, so that a save whose answer was lost is not stored twice.
  const removal = useRef(uuid7());
  const doing = useRef<HTMLHeadingElement>(null);

  // What can be done shows where it is read; a keyboard goes there, a thumb stays.
  useEffect(() => {
    if (taken.n === 0) return;
    doing.current?.scrollIntoView({ block: "start" });
    if (taken.by === "key") doing.current?.focus();
  }, [taken]);

  const may: Record<Mode, boolean> = {
    look: true,
    missing: mayWrite(farm.info.role, "rows"),
    replanted: mayWrite(farm.info.role, "rows"),
    removed: mayWrite(farm.info.role, "removals"),
    seen: mayWrite(farm.info.role, "visits"),
  };
  const change = (to: Mode) => {
    setMode(to);
    setDrafted(nothing);
    setStretch(null);
    setProblem(null);
  };
  const take = (at: PlantAt, by: "tap" | "key", as: Mode = mode) => {
    setCursor(at);
    if (as === "look") return setTaken((was) => ({ n: was.n + 1, by }));
    if (as === "seen") {
      setStretch((was) => (was && !was.to && was.from.row === at.row ? { from: was.from, to: at } : { from: at, to: null }));
      return;
    }
    const id = plantId(at.row, at.plant);
    setDrafted((was) => {
      const next = new Set(was);
      if (!next.delete(id)) next.add(id);
      return next;
    });
  };
  const start = (to: Mode) => {
    change(to);
    if (cursor) take(cursor, "tap", to);
  };
  const chosen = useMemo(() => [...drafted].sort((a, b) => a - b).map(plantOf), [drafted]);
  const seenNow = useMemo(() => stretchOf(stretch, plants), [stretch, plants]);
  const shownDraft = useMemo(() => (mode === "seen" ? stretchIds(stretch, seenNow) : drafted), [mode, stretch, seenNow, drafted]);
  const open = plants.visits.find((v) => v.id === visit) ?? null;

  const attempt = async (work: () => Promise<Undo>, said: string) => {
    setBusy(true);
    setProblem(null);
    try {
      const undo = await work();
      removal.current = uuid7();
      say(said, () => void undo().then(() => say(t("plants-undone")), setProblem));
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };
  const save = () => {
    if (mode === "missing" || mode === "replanted") {
      const saved = (row: number) => setDrafted((was) => new Set([...was].filter((id) => plantOf(id).row !== row)));
      return attempt(() => saveMarks(farm, block.id, mode, chosen, on, t, saved), t("plants-saved", { n: chosen.length }));
    }
    if (mode === "removed") {
      return attempt(async () => {
        const undo = await saveRemoval(farm, block, plants.rows, chosen, { id: removal.current, on, roots, disposal });
        setDrafted(nothing);
        return undo;
      }, t("plants-saved", { n: chosen.length }));
    }
    if (mode === "seen" && seenNow) {
      return attempt(async () => {
        const undo = await saveSeen(farm, block.id, open, seenNow);
        setStretch(null);
        return undo;
      }, t("plants-seen-saved", words(seenNow)));
    }
  };
  const enterFind = () => {
    if (!cursor) return;
    remember(localStorage, farm.id, block.id, { ...(recall(localStorage, farm.id, block.id) ?? firstForm), ...cursor });
    go({ place: "walk", block: block.id });
  };

  usePlantsOnMap(map, block, plants, shownDraft, cursor, onMap, take);
  const back = (
    <p>
      <button type="button" class="link" onClick={() => go({ view: undefined })}>
        ← {block.feature.properties.name}
      </button>
    </p>
  );
  if (picture.plants === 0) {
    return (
      <>
        {back}
        <h1>{t("plants-title", { name: block.feature.properties.name })}</h1>
        {plants.loading ? <p>{t("core-loading")}</p> : <p>{t("plants-none")}</p>}
        {!plants.loading && may.missing && (
          <button type="button" onClick={() => go({ view: "rows" })}>
            {t("plants-lay")}
          </button>
        )}
      </>
    );
  }
  const missingNow = chosen.filter((p) => marks.standing(p.row, p.plant) !== "missing").length;
  const label =
    mode === "missing"
      ? missingNow === chosen.length
        ? t("plants-missing-save", { n: chosen.length })
        : t("plants-missing-both", { n: chosen.length })
      : mode === "seen"
        ? seenNow && t("plants-seen-save", words(seenNow))
        : mode !== "look" && t(`plants-${mode}-save`, { n: chosen.length });
  const seenBy = plants.visits.filter((v) => (v.feature.properties.inspected ?? []).length > 0);
  return (
    <>
      {!onMap && (
        <MapCover>
          <RowMap
            picture={picture}
            marks={marks}
            name={block.feature.properties.name}
            cursor={cursor}
            onCursor={setCursor}
            onTake={take}
            drafted={shownDraft}
            northUp={northUp}
            onNorthUp={setNorthUp}
          />
        </MapCover>
      )}
      {back}
      <h1>{t("plants-title", { name: block.feature.properties.name })}</h1>
      <ProblemNote problem={problem} />
      <Choice
        label={t("plants-what")}
        value={mode}
        onValue={change}
        choices={modes.filter((m) => may[m]).map((m) => ({ value: m, label: t(`plants-mode-${m}`) }))}
        id="plants-mode"
      />
      {mode === "look" && cursor && (
        <section>
          <h2 ref={doing} tabIndex={-1}>
            {t("plants-do")}
          </h2>
          <p>{inWords(marks, cursor.row, cursor.plant, nothing, t)}</p>
          <div class="buttons">
            {mayWrite(farm.info.role, "finds") && (
              <button type="button" onClick={enterFind}>
                {t("plants-do-find")}
              </button>
            )}
            {may.missing && (
              <>
                <button type="button" onClick={() => start("missing")}>
                  {t(marks.standing(cursor.row, cursor.plant) === "missing" ? "plants-do-standing" : "plants-do-missing")}
                </button>
                <button type="button" onClick={() => start("replanted")}>
                  {t("plants-do-replanted")}
                </button>
              </>
            )}
            {may.removed && (
              <button type="button" onClick={() => start("removed")}>
                {t("plants-do-removed")}
              </button>
            )}
            {may.seen && (
              <button type="button" onClick={() => start("seen")}>
                {t("plants-do-seen")}
              </button>
            )}
          </div>
        </section>
      )}
      {mode !== "look" && <p class="hint">{t(`plants-${mode}-how`)}</p>}
      {mode === "removed" && (
        <>
          <Caution>{t("disease-caution-7")}</Caution>
          <Caution>{t("disease-caution-8")}</Caution>
          <Caution>{t("disease-caution-9")}</Caution>
        </>
      )}
      {(mode === "replanted" || mode === "removed") && (
        <TextField label={t(`plants-${mode}-date`)} type="date" value={on} onValue={setOn} fault={on ? undefined : t("plants-need-date")} id="plants-date" />
      )}
      {mode === "removed" && (
        <>
          <Check label={t("disease-removal-roots")} checked={roots} onChecked={setRoots} />
          <TextField label={t("disease-removal-disposal")} optional value={disposal} onValue={setDisposal} />
        </>
      )}
      {mode === "seen" && (
        <>
          {stretch && !stretch.to && <p role="status">{t("plants-seen-from", { row: String(stretch.from.row), plant: String(stretch.from.plant) })}</p>}
          <Choice
            label={t("plants-seen-visit")}
            value={visit}
            onValue={(v) => setVisit(v)}
            empty={t("plants-seen-new")}
            choices={plants.visits.toReversed().map((v) => ({ value: v.id, label: t("plants-visit", { when: moment(v.feature.properties.started_at, zone) }) }))}
          />
        </>
      )}
      {(chosen.length > 0 || stretch) && (
        <div class="buttons">
          {stretch && !stretch.to && (
            <button
              type="button"
              onClick={() => setStretch({ from: { row: stretch.from.row, plant: 1 }, to: { row: stretch.from.row, plant: lastPlant(plants.rows, stretch.from.row) } })}
            >
              {t("plants-seen-row")}
            </button>
          )}
          <button type="button" onClick={() => (stretch ? setStretch(null) : setDrafted(nothing))}>
            {t(stretch ? "plants-seen-drop" : "plants-drop-marks")}
          </button>
        </div>
      )}
      {chosen.length > 0 && <p class="soft">{chosen.map((p) => `${p.row}:${p.plant}`).join(", ")}</p>}
      <Choice
        label={t("plants-of-visits")}
        value={of}
        onValue={(v) => setOf(v)}
        empty={address.season ? t("plants-visits-season", { season: address.season }) : t("plants-visits-ever")}
        choices={seenBy.toReversed().map((v) => ({ value: v.id, label: t("plants-visit", { when: day(v.feature.properties.started_at, zone) }) }))}
      />
      {seenBy.length === 0 && <p class="hint">{t("plants-visits-none")}</p>}
      <p>{t("plants-count", { plants: number(picture.plants), standing: number(standing(plants)) })}</p>
      <div class="buttons">
        <button type="button" onClick={() => setOnMap(!onMap)}>
          {t(onMap ? "plants-on-picture" : "plants-on-map")}
        </button>
      </div>
      {onMap && <p class="hint">{t("plants-map-hint")}</p>}
      <PlantKey />
      <PlantTable plants={plants} onRow={(row) => setCursor({ row, plant: 1 })} />
      {label && (
        <MainAction
          label={label}
          run={() => void save()}
          busy={busy}
          blocked={mode !== "seen" && chosen.length === 0 ? t("plants-nothing-yet") : mode !== "missing" && mode !== "seen" && !on ? t("plants-need-date") : undefined}
        />
      )}
    </>
  );
}

const words = (s: Stretch) => ({ row: String(s.row), from: String(s.from), to: String(s.to) });

function standing({ picture, marks }: BlockPlants): number {
  let n = 0;
  for (const r of picture.rows) for (const p of r.plants) if (["plant", "replanted"].includes(marks.standing(r.number, p))) n++;
  return n;
}

function stretchOf(stretch: { from: PlantAt; to: PlantAt | null } | null, plants: BlockPlants): Stretch | null {
  if (!stretch?.to || lastPlant(plants.rows, stretch.from.row) === 0) return null;
  const [a, b] = [stretch.from.plant, stretch.to.plant];
  return { row: stretch.from.row, from: Math.min(a, b), to: Math.max(a, b) };
}

function stretchIds(stretch: { from: PlantAt; to: PlantAt | null } | null, done: Stretch | null): ReadonlySet<number> {
  if (done) return new Set(Array.from({ length: done.to - done.from + 1 }, (_, i) => plantId(done.row, done.from + i)));
  return stretch ? new Set([plantId(stretch.from.row, stretch.from.plant)]) : nothing;
}

// The true map with the same marks; a tap takes the nearest plant there too.
function usePlantsOnMap(
  map: PlaceProps["map"],
  block: Stored<"blocks">,
  plants: BlockPlants,
  drafted: ReadonlySet<number>,
  cursor: PlantAt | null,
  on: boolean,
  take: (at: PlantAt, by: "tap") => void,
): void {
  const spacing = block.feature.properties.plant_spacing_m ?? null;
  const placed = useMemo(() => {
    if (!on) return [];
    return plants.picture.rows.flatMap((r) =>
      r.plants.flatMap((plant) => {
        const at = plantPlace(plants.rows, r.number, plant, spacing);
        return at ? [{ row: r.number, plant, at }] : [];
      }),
    );
  }, [on, plants.picture, plants.rows, spacing]);
  useEffect(() => {
    if (!on) return;
    map.setPlants(
      placed.map((p) => {
        const find = plants.marks.finds(p.row, p.plant).at(-1);
        const now = plants.marks.standing(p.row, p.plant);
        return { id: String(plantId(p.row, p.plant)), at: p.at, standing: now, ...(find && now !== "removed" ? { find } : {}) };
      }),
    );
    return () => map.setPlants([]);
  }, [map, on, placed, plants.marks]);
  useEffect(() => {
    if (!on) return;
    const shown = placed.filter((p) => drafted.has(plantId(p.row, p.plant)) || (p.row === cursor?.row && p.plant === cursor.plant));
    map.setOverlay("plants-drafted", shown.map((p) => ({ geometry: { type: "Point", coordinates: p.at } })), "marked");
    return () => map.setOverlay("plants-drafted", null);
  }, [map, on, placed, drafted, cursor]);
  const latest = useRef(take);
  latest.current = take;
  useEffect(() => {
    if (!on) return;
    return map.onPick((pick) => {
      if (pick?.layer === "plants") latest.current(plantOf(Number(pick.id)), "tap");
    });
  }, [map, on]);
}
