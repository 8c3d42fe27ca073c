import { useEffect, useRef, useState } from "preact/hooks";
import { asProblem, type Problem } from "../../api/problem";
import { readLine, readPair, writeLine, writePair } from "../../geo/cornertext";
import type { Geometry, LineString, Point } from "../../geo/position";
import { named } from "../../i18n";
import type { FarmMap, ShapeMode } from "../../map/farmmap";
import { feature, surroundingsKinds, type Stored, type SurroundingsKind, type SurroundingsProperties, type WaterFollows, waterFollows } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { uuid7 } from "../../model/uuid7";
import { MainAction } from "../../ui/action";
import { Check, Choice, TextArea, TextField } from "../../ui/form";
import { useText } from "../../ui/hooks";
import { LengthField } from "../../ui/length";
import { MapBar } from "../../ui/mapbar";
import { Caution, faultOf, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import type { PlaceProps } from "../place";
import { type Outline, OutlineEditor } from "./outline";

const shapes = ["Point", "LineString", "Polygon"] as const;
type Shape = (typeof shapes)[number];

// What each kind is drawn as, most often.
const usual: Record<SurroundingsKind, Shape> = {
  water: "LineString",
  well: "Point",
  dwelling: "Polygon",
  school: "Polygon",
  hives: "Point",
  "sensitive-crop": "Polygon",
  "wild-brambles": "Polygon",
  road: "LineString",
  boundary: "LineString",
  other: "Polygon",
};

/** Draws one of the surroundings (near null), or changes one. */
export function NearEditor({ farm, map, go, near }: PlaceProps & { near: Stored<"surroundings"> | null }) {
  const t = useText();
  const p = near?.feature.properties;
  const writes = mayWrite(farm.info.role, "surroundings");
  const [kind, setKind] = useState<SurroundingsKind | "">(p?.kind ?? "");
  const [name, setName] = useState(p?.name ?? "");
  const [byEye, setByEye] = useState(p?.drawn_by_eye ?? true);
  const [accuracy, setAccuracy] = useState(p?.accuracy_m);
  const [follows, setFollows] = useState<WaterFollows | "">(p?.follows ?? "");
  const [bank, setBank] = useState(p?.bank_m);
  const [strip, setStrip] = useState(p?.strip ?? false);
  const [shape, setShape] = useState<Shape>(() => drawnAs(near?.feature.geometry ?? null));
  const [geometry, setGeometry] = useState<Geometry | null>(near?.feature.geometry ?? null);
  const [problem, setProblem] = useState<Problem | null>(null);
  const [busy, setBusy] = useState(false);
  const id = useRef(near?.id ?? uuid7());
  const chooseKind = (k: SurroundingsKind) => {
    setKind(k);
    if (!geometry) setShape(usual[k]);
  };
  const save = async () => {
    if (!kind || !geometry) return;
    setBusy(true);
    setProblem(null);
    try {
      const water = kind === "water";
      const properties: SurroundingsProperties = {
        ...p,
        kind,
        drawn_by_eye: byEye,
        name: name.trim() || undefined,
        accuracy_m: accuracy,
        follows: (water && follows) || undefined,
        bank_m: water && follows === "water-edge" ? bank : undefined,
        strip: (!water && strip) || undefined,
      };
      await farm.put("surroundings", feature<"surroundings">(id.current, geometry, properties), near);
      say(t("ground-saved-plain", { name: properties.name ?? named("ground-kind-", kind) }));
      go({ view: undefined });
    } catch (thrown) {
      setProblem(asProblem(thrown));
    } finally {
      setBusy(false);
    }
  };
  const takeOff = async () => {
    if (!near) return;
    setProblem(null);
    try {
      const closed = await farm.remove(near);
      go({ view: undefined });
      say(t("ground-taken-off", { name: p?.name ?? named("ground-kind-", near.feature.properties.kind) }), () => void farm.put("surroundings", near.feature, closed));
    } catch (thrown) {
      setProblem(asProblem(thrown));
    }
  };
  const untyped = [accuracy, bank].some((m) => m !== undefined && Number.isNaN(m));
  const missing = untyped ? t("ground-need-number") : !kind ? t("ground-need-kind") : !geometry ? t("ground-need-shape") : undefined;
  if (!writes) {
    return (
      <>
        <h1>{p?.name ?? (p ? named("ground-kind-", p.kind) : t("ground-near-title"))}</h1>
        <p>{p && named("ground-kind-", p.kind)}</p>
        {p?.drawn_by_eye && <p>{t("ground-by-eye")}</p>}
        <button type="button" onClick={() => go({ view: undefined })}>
          {t("core-back")}
        </button>
      </>
    );
  }
  return (
    <>
      <h1>{near ? t("ground-near-edit-title", { name: p?.name ?? named("ground-kind-", near.feature.properties.kind) }) : t("ground-near-title")}</h1>
      <ProblemNote problem={problem} map={map} fields={["kind", "name", "accuracy_m", "follows", "bank_m"]} />
      <Choice
        label={t("ground-near-kind")}
        value={kind}
        onValue={chooseKind}
        choices={surroundingsKinds.map((k) => ({ value: k, label: named("ground-kind-", k) }))}
        fault={faultOf(problem, "kind")}
        id="ground-near-kind"
      />
      <TextField label={t("ground-name")} optional value={name} onValue={setName} fault={faultOf(problem, "name")} />
      <Choice
        label={t("ground-near-shape")}
        value={shape}
        onValue={(s) => {
          setShape(s);
          setGeometry(null);
        }}
        choices={shapes.map((s) => ({ value: s, label: t(`ground-shape-${s}`) }))}
        id="ground-near-shape"
      />
      {shape === "Point" && <PointEditor map={map} start={asPoint(geometry)} onPoint={setGeometry} />}
      {shape === "LineString" && <LineEditor map={map} start={asLine(geometry)} onLine={setGeometry} />}
      {shape === "Polygon" && <OutlineEditor map={map} start={asOutline(geometry)} onOutline={setGeometry} />}
      <Check label={t("ground-by-eye")} hint={t("ground-by-eye-hint")} checked={byEye} onChecked={setByEye} />
      <LengthField label={t("ground-line-off")} hint={t("ground-line-off-hint")} optional metres={accuracy} onMetres={setAccuracy} fault={faultOf(problem, "accuracy_m")} />
      {kind === "water" && (
        <Choice
          label={t("ground-water-follows")}
          value={follows}
          onValue={setFollows}
          choices={waterFollows.map((v) => ({ value: v, label: t(`ground-water-follows-${v}`) }))}
          empty={t("core-not-said")}
          fault={faultOf(problem, "follows")}
        />
      )}
      {kind === "water" && follows === "water-edge" && (
        <LengthField label={t("ground-bank")} hint={t("ground-bank-hint")} optional metres={bank} onMetres={setBank} fault={faultOf(problem, "bank_m")} />
      )}
      {kind !== "water" && kind !== "" && <Check label={t("ground-strip")} hint={t("ground-strip-hint")} checked={strip} onChecked={setStrip} />}
      <Caution>{t("core-caution-drawn")}</Caution>
      <div class="buttons">
        <button type="button" onClick={() => history.back()}>
          {t("core-cancel")}
        </button>
        {near && (
          <button type="button" onClick={() => void takeOff()}>
            {t("ground-take-off")}
          </button>
        )}
      </div>
      <MainAction label={kind ? t("ground-save-near", { kind: named("ground-kind-", kind) }) : t("core-save")} run={() => void save()} blocked={missing} busy={busy} />
    </>
  );
}

function drawnAs(g: Geometry | null): Shape {
  if (g?.type === "Point" || g?.type === "MultiPoint") return "Point";
  return g?.type === "LineString" || g?.type === "MultiLineString" ? "LineString" : "Polygon";
}
const asPoint = (g: Geometry | null): Point | null => (g?.type === "Point" ? g : null);
const asLine = (g: Geometry | null): LineString | null => (g?.type === "LineString" ? g : null);
const asOutline = (g: Geometry | null): Outline | null => (g?.type === "Polygon" || g?.type === "MultiPolygon" ? g : null);

function PointEditor({ map, start, onPoint }: { map: FarmMap; start: Point | null; onPoint: (p: Point | null) => void }) {
  const t = useText();
  const [point, setPoint] = useState(start);
  const [text, setText] = useState(start ? writePair(start.coordinates) : "");
  const [fault, setFault] = useState<string>();
  const mode = useRef<ShapeMode<Point> | null>(null);
  useEffect(() => {
    mode.current = map.drawPoint(start, (p) => {
      setPoint(p);
      setText(p ? writePair(p.coordinates) : "");
      onPoint(p);
    });
    return () => mode.current?.leave();
  }, [map]);
  const use = () => {
    const read = readPair(text);
    setFault(typeof read === "string" ? t(`ground-corner-${read}`, { line: 1 }) : undefined);
    if (typeof read === "string") return;
    const p: Point = { type: "Point", coordinates: read };
    mode.current?.set(p);
    map.goTo(read);
  };
  return (
    <fieldset>
      <legend>{t("ground-outline")}</legend>
      <TextField label={t("ground-place-label")} value={text} onValue={setText} fault={fault} />
      <div class="buttons">
        <button type="button" onClick={use}>
          {t("ground-place-use")}
        </button>
      </div>
      <MapBar>
        <div class="map-hint" aria-live="polite">
          <p>{t("ground-point-draw")}</p>
        </div>
        <button type="button" disabled={!point} onClick={() => mode.current?.set(null)}>
          {t("ground-line-again")}
        </button>
      </MapBar>
    </fieldset>
  );
}

function LineEditor({ map, start, onLine }: { map: FarmMap; start: LineString | null; onLine: (l: LineString | null) => void }) {
  const t = useText();
  const [line, setLine] = useState(start);
  const [text, setText] = useState<string | null>(null);
  const [fault, setFault] = useState<string>();
  const mode = useRef<ShapeMode<LineString> | null>(null);
  useEffect(() => {
    mode.current = map.drawLine(start, (l) => {
      setLine(l);
      setText(null);
      onLine(l);
    });
    return () => mode.current?.leave();
  }, [map]);
  const use = () => {
    const read = readLine(text ?? writeLine(line));
    setFault(read.faults.map((f) => t(`ground-corner-${f.why}`, { line: f.line })).join(" ") || undefined);
    if (!read.geometry) return;
    mode.current?.set(read.geometry);
    map.fit([read.geometry]);
  };
  return (
    <fieldset>
      <legend>{t("ground-outline")}</legend>
      <MapBar>
        <div class="map-hint" aria-live="polite">
          <p>{t("ground-line-draw")}</p>
        </div>
        {line ? (
          <button type="button" onClick={() => mode.current?.set(null)}>
            {t("ground-line-again")}
          </button>
        ) : (
          <>
            <button type="button" onClick={() => mode.current?.undo()}>
              {t("core-undo")}
            </button>
            <button type="button" onClick={() => mode.current?.finish()}>
              {t("ground-line-end")}
            </button>
          </>
        )}
      </MapBar>
      <details>
        <summary>{t("ground-type-corners")}</summary>
        <TextArea label={t("ground-corners-label")} value={text ?? writeLine(line)} onValue={setText} fault={fault} />
        <button type="button" onClick={use}>
          {t("ground-corners-use")}
        </button>
      </details>
    </fieldset>
  );
}
