import { useEffect, useState } from "preact/hooks";
import type { Problem } from "../../../api/problem";
import type { MultiPolygon, Polygon, Position } from "../../../geo/position";
import type { FarmMap } from "../../../map/farmmap";
import { Choice, TextField } from "../../../ui/form";
import { useText } from "../../../ui/hooks";
import { LengthField } from "../../../ui/length";
import { MapBar } from "../../../ui/mapbar";
import { faultOf } from "../../../ui/notes";
import { bearing } from "../../../units";
import { formNumber, typedNumber } from "../../../units/typed";
import { BearingField, FirstFields } from "../blockform";
import { LineField } from "./linefield";
import { type PlantingForm, wayOf, ways } from "./spec";

export interface FieldsProps {
  readonly map: FarmMap;
  readonly form: PlantingForm;
  readonly set: (change: Partial<PlantingForm>) => void;
  readonly outline: Polygon | MultiPolygon;
  readonly problem: Problem | null;
}

type Figure = "row_spacing_m" | "plant_spacing_m" | "headland_m" | "side_margin_m" | "alley_m" | "post_spacing_m" | "alley_every" | "spare_percent" | "wires" | "lines_per_row" | "band_width_m";

function useFault(form: PlantingForm, problem: Problem | null) {
  const t = useText();
  return (field: Figure) => (Number.isNaN(form[field]) ? t("ground-not-number") : faultOf(problem, field));
}

/** How far apart rows and plants stand. */
export function Spacings({ form, set, problem }: FieldsProps) {
  const t = useText();
  const fault = useFault(form, problem);
  return (
    <div class="pair">
      <LengthField label={t("ground-row-spacing")} metres={form.row_spacing_m} onMetres={(row_spacing_m) => set({ row_spacing_m })} fault={fault("row_spacing_m")} id="ground-row-spacing" />
      <LengthField label={t("ground-plant-spacing")} metres={form.plant_spacing_m} onMetres={(plant_spacing_m) => set({ plant_spacing_m })} fault={fault("plant_spacing_m")} id="ground-plant-spacing" />
    </div>
  );
}

/** Which way the rows run, and where that comes from. */
export function Direction({ map, form, set, outline, problem }: FieldsProps) {
  const t = useText();
  const way = wayOf(form, outline);
  return (
    <>
      <Choice
        label={t("planting-way")}
        value={form.way}
        onValue={(to) => set({ way: to })}
        choices={ways.map((w) => ({ value: w, label: t(`planting-way-${w}`) }))}
        fault={form.way === "guide" ? faultOf(problem, "guide") : undefined}
        id="planting-way"
      />
      {form.way === "typed" && (
        <BearingField
          map={map}
          value={form.bearing_deg}
          onValue={(bearing_deg) => set({ bearing_deg })}
          fault={Number.isNaN(form.bearing_deg) ? t("ground-not-number") : faultOf(problem, "bearing_deg")}
        />
      )}
      {form.way === "line" && <LineField key="line" map={map} line={form.line} onLine={(line) => set({ line })} hint={t("planting-line-draw")} />}
      {form.way === "guide" && <LineField key="guide" map={map} line={form.guide} onLine={(guide) => set({ guide })} hint={t("planting-guide-draw")} />}
      {form.way !== "typed" && way !== undefined && <p class="soft">{t("planting-way-is", { bearing: bearing(way) })}</p>}
    </>
  );
}

/** Free ground, alleys, posts and what the order is reckoned with. */
export function Details({ form, set, problem }: FieldsProps) {
  const t = useText();
  const fault = useFault(form, problem);
  const length = (field: "headland_m" | "side_margin_m" | "alley_m" | "post_spacing_m" | "band_width_m", label: string, hint?: string) => (
    <LengthField label={label} hint={hint} metres={form[field]} onMetres={(v) => set({ [field]: v })} fault={fault(field)} id={`planting-${field.replaceAll("_", "-")}`} />
  );
  const count = (field: "alley_every" | "spare_percent" | "wires" | "lines_per_row", label: string, unit?: string) => (
    <CountField label={label} unit={unit} value={form[field]} onValue={(v) => set({ [field]: v })} fault={fault(field)} id={`planting-${field.replaceAll("_", "-")}`} />
  );
  return (
    <>
      <p class="hint planting-gap">{t("planting-more-hint")}</p>
      <div class="pair">
        {length("headland_m", t("planting-headland"))}
        {length("side_margin_m", t("planting-side-margin"))}
      </div>
      <p class="hint planting-gap">{t("planting-margins-hint")}</p>
      <div class="pair">
        {count("alley_every", t("planting-alley-every"))}
        {length("alley_m", t("planting-alley"))}
      </div>
      <p class="hint planting-gap">{t("planting-alley-hint")}</p>
      <div class="pair">
        {length("post_spacing_m", t("planting-posts"))}
        {count("wires", t("planting-wires"))}
      </div>
      <div class="pair">
        {count("lines_per_row", t("planting-lines"))}
        {count("spare_percent", t("planting-spare"), "%")}
      </div>
      {length("band_width_m", t("planting-band"), t("planting-band-hint"))}
    </>
  );
}

function CountField(props: { label: string; unit?: string; value: number | undefined; onValue: (v: number | undefined) => void; fault?: string; id: string }) {
  const [text, setText] = useState(() => formNumber(props.value, 2));
  return (
    <TextField
      label={props.label}
      unit={props.unit}
      inputMode="decimal"
      value={text}
      onValue={(v) => {
        setText(v);
        props.onValue(v.trim() === "" ? undefined : typedNumber(v));
      }}
      fault={props.fault}
      id={props.id}
    />
  );
}

/** Where row 1 and plant 1 are: chosen from lists, or by tapping the corner. */
export function FirstPlace({ map, form, set, onCorner }: FieldsProps & { readonly onCorner: ((at: Position) => void) | null }) {
  const t = useText();
  const [tapping, setTapping] = useState(false);
  return (
    <>
      <FirstFields form={form} set={set} />
      {onCorner && (
        <div class="buttons">
          <button type="button" aria-pressed={tapping} onClick={() => setTapping(!tapping)}>
            {t("planting-corner")}
          </button>
        </div>
      )}
      {tapping && onCorner && (
        <CornerTap
          map={map}
          onAt={(at) => {
            setTapping(false);
            onCorner(at);
          }}
          onCancel={() => setTapping(false)}
        />
      )}
    </>
  );
}

function CornerTap({ map, onAt, onCancel }: { map: FarmMap; onAt: (at: Position) => void; onCancel: () => void }) {
  const t = useText();
  useEffect(() => {
    const mode = map.drawPoint(null, (point) => {
      if (point) onAt(point.coordinates);
    });
    return () => mode.leave();
  }, [map]);
  return (
    <MapBar>
      <div class="map-hint" aria-live="polite">
        <p>{t("planting-corner-tap")}</p>
      </div>
      <button type="button" onClick={onCancel}>
        {t("core-cancel")}
      </button>
    </MapBar>
  );
}
