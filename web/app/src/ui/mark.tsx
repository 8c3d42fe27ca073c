import { useEffect, useRef } from "preact/hooks";
import { type MarkLook, boxPx, drawMark } from "../map/marks";

/** A mark as the map draws it, for keys and lists. The words beside it say what it means. */
export function MapMark({ look, size = 18 }: { look: MarkLook; size?: number }) {
  const canvas = useRef<HTMLCanvasElement>(null);
  const { cause, state, severity } = look;
  useEffect(() => {
    const c = canvas.current?.getContext("2d");
    if (!c) return;
    const ratio = Math.max(2, globalThis.devicePixelRatio || 1);
    const side = boxPx(size) * ratio;
    c.canvas.width = side;
    c.canvas.height = side;
    c.canvas.style.width = `${boxPx(size)}px`;
    c.canvas.style.height = `${boxPx(size)}px`;
    c.setTransform(ratio, 0, 0, ratio, side / 2, side / 2);
    drawMark(c, { cause, state, severity }, size);
  }, [cause, state, severity, size]);
  return <canvas class="mark" ref={canvas} aria-hidden="true" />;
}
