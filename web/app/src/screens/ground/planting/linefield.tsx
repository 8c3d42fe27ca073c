import { useEffect, useRef, useState } from "preact/hooks";
import { readLine, writeLine } from "../../../geo/cornertext";
import type { LineString } from "../../../geo/position";
import type { FarmMap, ShapeMode } from "../../../map/farmmap";
import { TextArea } from "../../../ui/form";
import { useText } from "../../../ui/hooks";
import { MapBar } from "../../../ui/mapbar";

export interface LineFieldProps {
  readonly map: FarmMap;
  readonly line: LineString | null;
  readonly onLine: (line: LineString | null) => void;
  /** What to do, shown over the map. */
  readonly hint: string;
}

/** A line drawn on the map and then dragged, or typed corner by corner. */
export function LineField({ map, line, onLine, hint }: LineFieldProps) {
  const t = useText();
  const [text, setText] = useState<string | null>(null);
  const [fault, setFault] = useState<string>();
  const mode = useRef<ShapeMode<LineString> | null>(null);
  const heard = useRef(onLine);
  heard.current = onLine;
  const start = useRef(line);
  useEffect(() => {
    const entered = map.drawLine(start.current, (l) => {
      setText(null);
      heard.current(l);
    });
    mode.current = entered;
    return () => entered.leave();
  }, [map]);
  const use = () => {
    const read = readLine(text ?? writeLine(line));
    setFault(read.faults.map((f) => t(`ground-corner-${f.why}`, { line: f.line })).join(" ") || undefined);
    if (!read.geometry) return;
    setText(null);
    mode.current?.set(read.geometry);
  };
  return (
    <>
      <MapBar>
        <div class="map-hint" aria-live="polite">
          <p>{line ? t("planting-line-drag") : hint}</p>
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
      <p class="hint">{line ? t("planting-line-corners", { n: line.coordinates.length }) : hint}</p>
      <details>
        <summary>{t("ground-type-corners")}</summary>
        <TextArea label={t("ground-corners-label")} value={text ?? writeLine(line)} onValue={setText} fault={fault} id="planting-line" />
        <button type="button" onClick={use}>
          {t("ground-corners-use")}
        </button>
      </details>
    </>
  );
}
