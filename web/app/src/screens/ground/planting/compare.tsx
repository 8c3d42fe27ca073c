import { useEffect, useRef, useState } from "preact/hooks";
import { type CompareAsk, type Option, Planting, type PlantingAsk } from "../../../api/planting";
import { number } from "../../../i18n";
import { MainAction } from "../../../ui/action";
import { TextField } from "../../../ui/form";
import { useText, useUnits } from "../../../ui/hooks";
import { ProblemNote } from "../../../ui/notes";
import { Toggle } from "../../../ui/settings";
import { bearing, length, spacing, typedLength } from "../../../units";
import { formNumber, typedNumber } from "../../../units/typed";
import { DataTable } from "../../papers/datatable";
import type { Column } from "../../papers/table";
import { readList } from "./spec";

export interface CompareProps {
  readonly planting: Planting;
  /** What the options share: everything but spacings and bearing. */
  readonly ask: PlantingAsk;
  readonly onShow: (option: Option) => void;
  readonly onUse: (option: Option) => void;
}

export const optionKey = (o: Option) => `${o.kind} ${o.bearing_deg} ${o.row_spacing_m} ${o.plant_spacing_m}`;

// The server works out at most so many at once; a question for more is refused
// here, before it is sent.
const mostOptions = 400;

/** Bearings and spacings side by side, before anything is planted. */
export function Compare({ planting, ask, onShow, onUse }: CompareProps) {
  const t = useText();
  const system = useUnits();
  const per = typedLength(system);
  const written = (m: number) => formNumber(m / per.metres, 3);
  const [rowSpacings, setRowSpacings] = useState(() => written(ask.row_spacing_m));
  const [plantSpacings, setPlantSpacings] = useState(() => written(ask.plant_spacing_m));
  const [by, setBy] = useState<"list" | "sweep">("list");
  const [bearings, setBearings] = useState(() => (ask.bearing_deg === undefined ? "" : formNumber(ask.bearing_deg, 2)));
  const [step, setStep] = useState("15");
  const [options, setOptions] = useState<readonly Option[] | null>(null);
  const [chosen, setChosen] = useState<Option | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const [since, setSince] = useState<number | null>(null);
  const stop = useRef<AbortController | null>(null);
  const list = useRef<HTMLDivElement>(null);
  useEffect(() => () => stop.current?.abort(), []);
  useEffect(() => list.current?.scrollIntoView({ block: "start" }), [options]);

  // What is not retyped keeps its value to the last digit.
  const lengths = (text: string, from: number) => readList(text, (w) => (w === written(from) ? from : typedNumber(w) * per.metres));
  const read = { rows: lengths(rowSpacings, ask.row_spacing_m), plants: lengths(plantSpacings, ask.plant_spacing_m), bearings: readList(bearings, typedNumber), step: typedNumber(step) };
  // The longest side stands beside them always, the guide where there is one.
  const turns = (by === "sweep" ? 180 / read.step : (read.bearings?.length ?? 0)) + 1 + (ask.guide ? 1 : 0);
  const asked = (read.rows?.length ?? 0) * (read.plants?.length ?? 0) * Math.ceil(turns);
  const bad = !read.rows || !read.plants || (by === "list" ? !read.bearings : !(read.step > 0 && read.step <= 90));
  const blocked = bad ? t("planting-compare-read") : read.rows?.length === 0 || read.plants?.length === 0 ? t("ground-need-spacings") : asked > mostOptions ? t("planting-compare-most", { n: asked, most: mostOptions }) : undefined;

  const run = async () => {
    if (!read.rows || !read.plants || blocked) return;
    const { skip: _skip, bearing_deg: _bearing, band_width_m: _band, ...shared } = ask;
    const question: CompareAsk = {
      ...shared,
      row_spacing_m: read.rows,
      plant_spacing_m: read.plants,
      ...(by === "sweep" ? { sweep_deg: read.step } : { bearings_deg: read.bearings ?? [] }),
    };
    const mine = new AbortController();
    stop.current = mine;
    setProblem(null);
    setSince(Date.now());
    try {
      const got = await planting.compare(question, { signal: mine.signal });
      setOptions(got.options);
      setChosen(null);
    } catch (thrown) {
      if (!mine.signal.aborted) setProblem(thrown);
    } finally {
      if (stop.current === mine) {
        stop.current = null;
        setSince(null);
      }
    }
  };
  const inWords = (o: Option) => ({ bearing: bearing(o.bearing_deg), kind: t(`planting-kind-${o.kind}`), rows: spacing(o.row_spacing_m), plants: spacing(o.plant_spacing_m) });
  const columns: Column<Option>[] = [
    { key: "bearing", head: t("planting-col-bearing"), cell: (o) => o.bearing_deg, show: (o) => bearing(o.bearing_deg) },
    { key: "plants", head: t("ground-plants"), cell: (o) => o.plants, show: (o) => number(o.plants) },
    { key: "rows", head: t("ground-col-rows"), cell: (o) => o.rows, show: (o) => number(o.rows) },
    { key: "row-length", head: t("ground-row-length"), cell: (o) => o.row_length_m, show: (o) => length(o.row_length_m) },
    { key: "turns", head: t("planting-turns"), cell: (o) => o.turns, show: (o) => number(o.turns) },
    { key: "short", head: t("planting-short-rows"), cell: (o) => o.short_rows, show: (o) => number(o.short_rows) },
    { key: "share", head: t("planting-share"), cell: (o) => o.share, show: (o) => `${number(o.share * 100, 1)} %` },
    { key: "row-spacing", head: t("ground-row-spacing"), cell: (o) => o.row_spacing_m, show: (o) => spacing(o.row_spacing_m) },
    { key: "plant-spacing", head: t("ground-plant-spacing"), cell: (o) => o.plant_spacing_m, show: (o) => spacing(o.plant_spacing_m) },
    { key: "shortest", head: t("planting-col-shortest"), cell: (o) => o.shortest_m, show: (o) => length(o.shortest_m) },
    { key: "longest", head: t("planting-col-longest"), cell: (o) => o.longest_m, show: (o) => length(o.longest_m) },
    { key: "kind", head: t("planting-col-kind"), cell: (o) => t(`planting-kind-${o.kind}`) },
  ];
  return (
    <>
      <ProblemNote problem={problem} />
      <div class="pair">
        <TextField label={t("planting-row-spacings")} unit={per.unit} inputMode="text" value={rowSpacings} onValue={setRowSpacings} fault={read.rows ? undefined : t("planting-list-bad")} id="planting-row-spacings" />
        <TextField label={t("planting-plant-spacings")} unit={per.unit} inputMode="text" value={plantSpacings} onValue={setPlantSpacings} fault={read.plants ? undefined : t("planting-list-bad")} id="planting-plant-spacings" />
      </div>
      <p class="hint planting-gap">{t("planting-list-hint")}</p>
          <div class="planting-tabs">
          <Toggle
            label={t("planting-bearings-by")}
            value={by}
            onValue={setBy}
            choices={[
              { value: "list", label: t("planting-by-list") },
              { value: "sweep", label: t("planting-by-sweep") },
            ]}
          />
          </div>
          {by === "list" ? (
            <TextField label={t("planting-bearings")} hint={t("planting-bearings-hint")} unit="°" value={bearings} onValue={setBearings} fault={read.bearings ? undefined : t("planting-list-bad")} id="planting-bearings" />
          ) : (
            <TextField label={t("planting-sweep")} unit="°" inputMode="decimal" value={step} onValue={setStep} fault={read.step > 0 && read.step <= 90 ? undefined : t("planting-sweep-bad")} id="planting-sweep" />
          )}
      {since !== null && (
        <div role="status" class="planting-progress">
          <progress aria-label={t("planting-comparing", { n: asked })} />
          <p>{t("planting-comparing", { n: asked })}</p>
          <button type="button" onClick={() => stop.current?.abort()}>
            {t("core-stop")}
          </button>
        </div>
      )}
      {options && options.length === 0 && <p role="status">{t("ground-lay-none")}</p>}
      {options && options.length > 0 && (
        <div class="planting-options" ref={list}>
          <DataTable
            caption={t("planting-compared")}
            columns={columns}
            rows={options}
            keyOf={optionKey}
            file="planting"
            chosen={chosen ? optionKey(chosen) : undefined}
            onChoose={(o) => {
              setChosen(o);
              onShow(o);
            }}
            chooseName={(o) => t("planting-show-option", inWords(o))}
            first={{ key: "plants", down: true }}
          />
          {chosen && (
            <div class="buttons">
              <button type="button" onClick={() => onUse(chosen)}>
                {t("planting-use", inWords(chosen))}
              </button>
            </div>
          )}
        </div>
      )}
      <MainAction label={t("planting-compare-run", { n: blocked ? 0 : asked })} run={() => void run()} blocked={blocked} busy={since !== null} />
    </>
  );
}
