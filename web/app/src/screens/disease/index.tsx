import { useEffect, useRef, useState } from "preact/hooks";
import { language } from "../../i18n";
import type { Shape } from "../../map/farmmap";
import type { Stored } from "../../model/kinds";
import { MainAction } from "../../ui/action";
import { Choice } from "../../ui/form";
import { useRecords, useSignal, useText, useUnits } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { typedLength } from "../../units";
import type { Place, PlaceProps } from "../place";
import { drawnRows, plantCount } from "../../rowmap/rows";
import { plantPlace, type Stretch, strip, stretches, stretchLines } from "../../rowmap/rowplace";
import { type Answer, answerOf, type WireAnswer } from "./answer";
import { OneFind } from "./onefind";
import { Removal } from "./removal";
import { ask, defaults, type Faults, type SettingsForm } from "./settings";
import { Settings } from "./settingsform";
import { type Chosen, Shown } from "./shown";
import { unseen } from "./unseen";
import { besideGroups, Views } from "./views";
import "./disease.css";

function Sheet(props: PlaceProps) {
  const t = useText();
  const { farm, map, address, go } = props;
  const blocks = useRecords(farm, "blocks");
  useEffect(
    () =>
      map.onPick((pick) => {
        if (pick?.layer === "finds") {
          const of = farm.find("finds", pick.id)?.feature.properties.block;
          go({ view: `find:${pick.id}`, ...(of ? { block: of } : {}) });
        } else if (pick?.layer === "blocks") {
          go({ block: pick.id, view: undefined });
        }
      }),
    [map, go, farm],
  );
  const block = farm.find("blocks", address.block);
  const Beside = besideGroups(address.view);
  if (Beside) {
    return (
      <div class="disease">
        <Views {...props} />
        <Beside {...props} />
      </div>
    );
  }
  return (
    <div class="disease">
      <Views {...props} />
      <h1>{t("disease-title")}</h1>
      {blocks.state === "failed" && <ProblemNote problem={blocks.failure} onRetry={() => void farm.load("blocks", true)} />}
      {blocks.state === "ready" && blocks.list.length === 0 && <p>{t("walk-no-blocks")}</p>}
      {blocks.list.length > 0 && (
        <Choice
          label={t("disease-block")}
          value={block?.id ?? ""}
          choices={blocks.list.map((b) => ({ value: b.id, label: b.feature.properties.name }))}
          onValue={(id) => go({ block: id, view: undefined })}
        />
      )}
      {blocks.list.length > 0 && !block && <p>{t("disease-choose-block")}</p>}
      {block && <OfBlock key={block.id} {...props} block={block} />}
    </div>
  );
}

function OfBlock(props: PlaceProps & { block: Stored<"blocks"> }) {
  const t = useText();
  useUnits();
  const { farm, api, map, address, go, block } = props;
  const finds = useRecords(farm, "finds");
  const visits = useRecords(farm, "visits");
  const rowRecords = useRecords(farm, "rows");
  const p = block.feature.properties;
  const spacing = p.plant_spacing_m ?? null;
  const rows = drawnRows(rowRecords.list, block.id, spacing);
  const [form, setForm] = useState<SettingsForm>(() => defaults(p, typedLength().unit));
  const [faults, setFaults] = useState<Faults>({});
  const [answer, setAnswer] = useState<Answer | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const [stopped, setStopped] = useState(false);
  const [chosen, setChosen] = useState<Chosen>({});
  const [running, setRunning] = useState(false);
  const stopper = useRef<AbortController | null>(null);
  useEffect(() => () => stopper.current?.abort(), []);

  useEffect(() => map.fit([block.feature.geometry]), [map, block.id]);
  const inBlock = finds.list.filter((f) => f.feature.properties.block === block.id);
  const chosenFind = address.view?.startsWith("find:") ? address.view.slice(5) : undefined;

  const lines = (list: readonly Stretch[]): Shape[] =>
    list.flatMap((s) => stretchLines(rows, s, spacing).map((coordinates) => ({ geometry: { type: "LineString" as const, coordinates } })));

  const looked = visits.list
    .filter((v) => v.feature.properties.block === block.id && v.feature.properties.inspected)
    .map((v) => v.feature.properties.inspected ?? []);
  const half = (p.row_spacing_m ?? 3) / 2;
  useEffect(() => {
    const ground = unseen(rows, looked).flatMap((s) => stretchLines(rows, s, spacing).map((l) => strip(l, half)));
    const shapes = ground.filter((ring) => ring.length > 3).map((ring): Shape => ({ geometry: { type: "Polygon", coordinates: [ring] } }));
    map.setOverlay("disease-unseen", shapes, "unseen");
    return () => map.setOverlay("disease-unseen", null);
  }, [map, rowRecords.list, visits.list, block]);

  useEffect(() => {
    if (!answer) return;
    const taken = [...answer.list.confirmed, ...answer.list.between, ...answer.list.margin];
    map.setOverlay("disease-rows", lines(stretches(taken)), "group-rows");
    map.setOverlay(
      "disease-hulls",
      answer.groups.flatMap((g) => (g.hull ? [{ id: `${g.number}`, geometry: g.hull, label: t("core-mark-hull") }] : [])),
      "group-hull",
    );
    return () => {
      map.setOverlay("disease-rows", null);
      map.setOverlay("disease-hulls", null);
    };
  }, [map, answer, rowRecords.list, t]);

  useEffect(() => {
    const plants = chosen.plant ? [chosen.plant] : (answer?.groups.find((g) => g.number === chosen.group)?.finds ?? []);
    const shapes = lines(stretches(plants));
    if (shapes.length === 0) return;
    map.setOverlay("disease-chosen", shapes, "chosen");
    const first = plants[0];
    const at = first && plantPlace(rows, first.row, first.plant, spacing);
    if (at) map.goTo(at);
    return () => map.setOverlay("disease-chosen", null);
  }, [map, chosen, answer]);

  // A find chosen on the map is shown in the list as well.
  useEffect(() => {
    const q = farm.find("finds", chosenFind)?.feature.properties;
    if (q?.row !== undefined && q.plant !== undefined) setChosen({ plant: { row: q.row, plant: q.plant } });
  }, [farm, chosenFind]);

  const run = async () => {
    const built = ask(form, block.id);
    setFaults(built.ok ? {} : built.faults);
    if (!built.ok) return;
    stopper.current = new AbortController();
    const { signal } = stopper.current;
    setRunning(true);
    setProblem(null);
    setStopped(false);
    setChosen({});
    try {
      setAnswer(answerOf(await api.hotSpots<WireAnswer>(built.body, { signal })));
    } catch (thrown) {
      if (signal.aborted) setStopped(true);
      else setProblem(thrown);
    } finally {
      setRunning(false);
    }
  };

  // The server's words come in the language they were asked in.
  const spokenIn = useSignal(language);
  const askedIn = useRef(spokenIn);
  useEffect(() => {
    if (askedIn.current === spokenIn) return;
    askedIn.current = spokenIn;
    if (answer) void run();
  }, [spokenIn]);

  return (
    <>
      <Settings form={form} faults={faults} onForm={setForm} />
      {running && (
        <div role="status" class="running">
          <progress aria-label={t("disease-running")} /> {t("disease-running")}{" "}
          <button type="button" onClick={() => stopper.current?.abort()}>
            {t("core-stop")}
          </button>
        </div>
      )}
      {stopped && <p role="status">{t("disease-stopped")}</p>}
      {problem !== null && <ProblemNote problem={problem} map={map} />}
      {answer && !running && (
        <Shown
          answer={answer}
          minFinds={form.minFinds}
          standing={plantCount(rows)}
          chosen={chosen}
          onChosen={setChosen}
          file={`${farm.id}-${p.name}-groups`.replace(/[^\w-]+/g, "-").toLowerCase()}
        />
      )}
      <OneFind {...props} finds={inBlock} chosen={chosenFind} onChoose={(id) => go({ view: `find:${id}` })} />
      <Removal farm={farm} block={block} rows={rows} listed={answer?.list.confirmed ?? []} />
      <MainAction label={t("disease-run")} run={() => void run()} busy={running} />
    </>
  );
}

export const disease: Place = { name: "disease", Sheet };
