import { useEffect, useRef, useState } from "preact/hooks";
import { readCorners, writeCorners } from "../../geo/cornertext";
import type { MultiPolygon, Polygon, Position } from "../../geo/position";
import { selfCrossing } from "../../geo/ring";
import type { FarmMap, OutlineDraft, OutlineMode } from "../../map/farmmap";
import { TextArea } from "../../ui/form";
import { useText, useUnits } from "../../ui/hooks";
import { MapBar } from "../../ui/mapbar";
import { Mark } from "../../ui/notes";
import { area } from "../../units";

export type Outline = Polygon | MultiPolygon;

export interface OutlineEditorProps {
  readonly map: FarmMap;
  /** What stands at first; changes to it are not followed. */
  readonly start: Outline | null;
  readonly onOutline: (outline: Outline | null) => void;
  readonly fault?: string;
  /** Leads to walking round the block instead, where that is offered. */
  readonly onWalk?: () => void;
}

const nothing: OutlineDraft = { geometry: null, previewM2: 0, canUndo: false, canRedo: false, drawing: null, refused: null };

const hints = { none: "ground-outline-mend", shell: "ground-outline-begin", part: "ground-outline-begin", hole: "ground-outline-hole" } as const;

/** Draws or mends an outline on the map, and the same by typed corners. */
export function OutlineEditor({ map, start, onOutline, fault, onWalk }: OutlineEditorProps) {
  const t = useText();
  const system = useUnits();
  const [draft, setDraft] = useState<OutlineDraft>(nothing);
  const mode = useRef<OutlineMode | null>(null);
  const heard = useRef(onOutline);
  heard.current = onOutline;
  useEffect(() => {
    const entered = map.drawOutline(start, (d) => {
      setDraft(d);
      // Untouched, an outline stays as it was stored, to its last digit.
      heard.current(d.canUndo || d.canRedo ? d.geometry : start);
    });
    mode.current = entered;
    return () => entered.leave();
  }, [map]);
  const steer = (what: Exclude<keyof OutlineMode, "set" | "leave">) => () => mode.current?.[what]();
  const crossing = crossingOf(draft.geometry);
  const crossed = crossing?.corners.map((at) => at.join()).join(" ");
  useEffect(() => {
    if (!crossing) return;
    map.setDefects(crossing.corners.map((at) => ({ at, text: t("ground-crosses", crossing.numbers) })));
    return () => map.setDefects(null);
  }, [map, crossed]);
  const says = t(hints[draft.drawing ?? "none"]);
  return (
    <fieldset class={fault ? "faulty" : undefined}>
      <legend>{t("ground-outline")}</legend>
      <MapBar>
        <div class="map-hint" aria-live="polite">
          {!draft.refused && !crossing && <p>{says}</p>}
          {draft.previewM2 > 0 && (
            <p>
              <strong>{t("ground-preview", { area: area(draft.previewM2, system), word: t("core-preview") })}</strong>
            </p>
          )}
          {draft.refused && (
            <p>
              <Mark answer="stop" /> {t("ground-hole-outside")}
            </p>
          )}
          {crossing && (
            <p>
              <Mark answer="stop" /> {t("ground-crosses", crossing.numbers)}
            </p>
          )}
        </div>
        <button type="button" disabled={!draft.canUndo} onClick={steer("undo")}>
          {t("core-undo")}
        </button>
        <button type="button" disabled={!draft.canRedo} onClick={steer("redo")}>
          {t("core-redo")}
        </button>
        {draft.drawing ? (
          <button type="button" onClick={steer("finishRing")}>
            {t("ground-close-ring")}
          </button>
        ) : (
          <>
            <button type="button" onClick={steer("removeCorner")}>
              {t("ground-remove-corner")}
            </button>
            <button type="button" onClick={steer("cutHole")}>
              {t("ground-hole")}
            </button>
            <button type="button" onClick={steer("addPart")}>
              {t("ground-part")}
            </button>
          </>
        )}
      </MapBar>
      <p class="hint">{t("ground-preview-hint")}</p>
      {fault && (
        <p class="fault">
          <Mark answer="stop" /> {fault}
        </p>
      )}
      {onWalk && (
        <div class="buttons">
          <button type="button" onClick={onWalk}>
            {t("ground-round-instead")}
          </button>
        </div>
      )}
      <TypedCorners
        outline={draft.geometry}
        onOutline={(outline) => {
          mode.current?.set(outline);
          map.fit([outline]);
        }}
      />
    </fieldset>
  );
}

interface Crossing {
  /** Numbers, from 1, as the list of corners has them. */
  readonly numbers: { first: number; second: number };
  readonly corners: readonly Position[];
}

function crossingOf(outline: Outline | null): Crossing | null {
  if (!outline) return null;
  const parts = outline.type === "Polygon" ? [outline.coordinates] : outline.coordinates;
  for (const ring of parts.flat()) {
    const found = selfCrossing(ring);
    if (found) return { numbers: found, corners: [ring[found.first - 1]!, ring[found.second - 1]!] };
  }
  return null;
}

function TypedCorners({ outline, onOutline }: { outline: Outline | null; onOutline: (outline: Outline) => void }) {
  const t = useText();
  const [text, setText] = useState<string | null>(null);
  const [faults, setFaults] = useState<string>();
  const use = () => {
    const read = readCorners(text ?? writeCorners(outline));
    setFaults(read.faults.map((f) => t(`ground-corner-${f.why}`, { line: f.line })).join(" ") || undefined);
    if (!read.geometry) return;
    setText(null);
    onOutline(read.geometry);
  };
  return (
    <details>
      <summary>{t("ground-type-corners")}</summary>
      <TextArea
        label={t("ground-corners-label")}
        hint={t("ground-corners-hint")}
        rows={6}
        value={text ?? writeCorners(outline)}
        onValue={setText}
        fault={faults}
        id="ground-corners"
      />
      <button type="button" onClick={use}>
        {t("ground-corners-use")}
      </button>
    </details>
  );
}
