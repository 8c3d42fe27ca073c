import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import type { PlantAt } from "../model/kinds";
import { useText } from "../ui/hooks";
import { ready, type Shown } from "./draw";
import type { PlantMarks } from "./marks";
import type { Over } from "./over";
import { type Move, moved, nearestIn, nearestSlot, type Picture, type Slot, slotOf } from "./picture";
import { keyMove, leap } from "./keys";
import { Painter } from "./painter";
import { inWords } from "./words";
import { acrossPx, centred, fitted, fromScreen, panned, showing, type Size, toScreen, type View, type Xy, zoomed } from "./view";
import "./rowmap.css";

export interface RowMapProps {
  readonly picture: Picture;
  readonly marks: PlantMarks;
  /** The block's name, for those who do not see the picture. */
  readonly name: string;
  readonly cursor: PlantAt | null;
  readonly onCursor: (at: PlantAt) => void;
  /** A tap on a plant, or Enter on the one under the cursor. */
  readonly onTake: (at: PlantAt, by: "tap" | "key") => void;
  /** Ids (plantId) of plants tapped and not yet saved. */
  readonly drafted: ReadonlySet<number>;
  /** What is said of those where it is another thing. */
  readonly draftedSays?: string | undefined;
  /** What an answer says of the plants. */
  readonly over?: Over | undefined;
  readonly northUp: boolean;
  readonly onNorthUp: (northUp: boolean) => void;
}

// A finger that moves less than this has tapped.
const tapPx = 8;
// A finger finds the nearest plant within this; a pointer of a mouse as well.
const reachPx = 30;
const zoomStep = 1.4;

/** A block as rows by plants, for a thumb and for a keyboard; stands wherever its box is. */
export function RowMap(props: RowMapProps) {
  const t = useText();
  const { picture, marks, cursor } = props;
  const canvas = useRef<HTMLCanvasElement>(null);
  const grid = useRef<HTMLDivElement>(null);
  const { over } = props;
  const made = useMemo(() => ready(picture, marks, over), [picture, marks, over?.rates, over?.earlier, over?.listed]);
  const turn = props.northUp ? (picture.bearingDeg * Math.PI) / 180 : 0;
  const [focused, setFocused] = useState(false);
  const slot = useMemo(() => (cursor ? slotOf(picture, cursor.row, cursor.plant) : null), [picture, cursor]);
  const at = useRef<{ view: View | null; size: Size; asked: number; turn: number }>({ view: null, size: { width: 0, height: 0 }, asked: 0, turn });
  const shown = useRef<Shown>({ cursor: slot, drafted: props.drafted, focused, north: "" });
  shown.current = { cursor: slot, drafted: props.drafted, chosen: over?.chosen, focused, north: t("core-north") };
  const painter = useRef(new Painter());
  const latest = useRef({ props, made, slot });
  latest.current = { props, made, slot };

  const draw = () => {
    const now = at.current;
    now.asked = 0;
    const c = canvas.current?.getContext("2d", { alpha: false });
    if (!c || !now.view || now.size.width === 0) return;
    painter.current.paint(c, latest.current.made, now.view, now.size, ratioNow(), shown.current, ask);
  };
  const ask = () => {
    at.current.asked ||= requestAnimationFrame(draw);
  };
  const change = (view: View) => {
    at.current.view = view;
    ask();
  };

  useEffect(() => {
    const box = canvas.current!;
    const sized = () => {
      const size = { width: box.clientWidth, height: box.clientHeight };
      if (size.width === 0 || size.height === 0) return;
      const ratio = ratioNow();
      box.width = Math.round(size.width * ratio);
      box.height = Math.round(size.height * ratio);
      const now = at.current;
      const middle = now.view && fromScreen(now.view, now.size.width / 2, now.size.height / 2);
      now.view = now.view && middle ? centred(now.view, size, middle[0], middle[1]) : fitted(latest.current.made.picture, size, now.turn);
      now.size = size;
      // At once: a resized canvas is empty until it is drawn.
      draw();
    };
    const watch = new ResizeObserver(sized);
    watch.observe(box);
    sized();
    return () => {
      watch.disconnect();
      if (at.current.asked) cancelAnimationFrame(at.current.asked);
      at.current.asked = 0;
      painter.current.end();
    };
  }, []);
  useEffect(() => {
    at.current.turn = turn;
    if (at.current.size.width > 0) at.current.view = fitted(picture, at.current.size, turn);
    ask();
  }, [picture.bearingDeg, picture.width, picture.height, turn]);
  useEffect(ask, [made, slot, props.drafted, over?.chosen, focused, t]);
  useEffect(() => {
    const now = at.current;
    if (slot && now.view) change(showing(now.view, now.size, slot.x, slot.y));
  }, [slot]);

  const fit = () => change(fitted(picture, at.current.size, turn));
  const zoom = (by: number, where?: Xy) => {
    const now = at.current;
    if (!now.view) return;
    const middle: Xy = slot ? toScreen(now.view, slot.x, slot.y) : [now.size.width / 2, now.size.height / 2];
    change(panned(zoomed(now.view, picture, now.size, by, where ?? middle), picture, now.size, [0, 0]));
  };
  const go = (move: Move) => {
    const from = latest.current.slot ?? firstOf(picture);
    if (!from) return;
    const to = latest.current.slot ? moved(picture, from, move) : from;
    props.onCursor({ row: to.row, plant: to.plant });
  };
  const hand = useHand(at, picture, change, (x, y) => {
    const hit = at.current.view && tapped(picture, at.current.view, x, y);
    if (hit) latest.current.props.onTake({ row: hit.row, plant: hit.plant }, "tap");
    grid.current?.focus({ preventScroll: true });
  });
  useEffect(() => {
    const box = canvas.current!;
    const wheel = (e: WheelEvent) => {
      e.preventDefault();
      const r = box.getBoundingClientRect();
      zoom(Math.exp(-e.deltaY * (e.ctrlKey ? 0.01 : 0.0016)), [e.clientX - r.left, e.clientY - r.top]);
    };
    box.addEventListener("wheel", wheel, { passive: false });
    return () => box.removeEventListener("wheel", wheel);
  });

  const keyed = (e: KeyboardEvent) => {
    if (e.altKey || e.metaKey || e.ctrlKey) return;
    const move = keyMove(e, turn);
    if (move) go(move);
    else if ((e.key === "Enter" || e.key === " ") && slot) props.onTake({ row: slot.row, plant: slot.plant }, "key");
    else if (e.key === "+" || e.key === "=") zoom(zoomStep);
    else if (e.key === "-") zoom(1 / zoomStep);
    else if (e.key === "0") fit();
    else return;
    e.preventDefault();
  };
  const said = slot ? [inWords(marks, slot.row, slot.plant, props.drafted, t, props.draftedSays), ...(over?.says(slot.row, slot.plant) ?? [])].join(" – ") : t("plants-none-chosen");
  const row = picture.rows.findIndex((r) => r.number === slot?.row);
  const cell = slot ? `plant-${slot.row}-${slot.plant}` : undefined;
  const longest = picture.rows.reduce((n, r) => Math.max(n, r.plants.length), 0);
  return (
    <div class="rowmap">
      <p class="rowmap-said" aria-live="polite">
        {said}
      </p>
      <div
        class="rowmap-grid"
        ref={grid}
        role="grid"
        tabIndex={0}
        aria-label={t("plants-picture", { name: props.name })}
        aria-describedby="rowmap-keys"
        aria-rowcount={picture.rows.length}
        aria-colcount={longest}
        aria-activedescendant={cell}
        onKeyDown={keyed}
        onFocus={() => setFocused(true)}
        onBlur={() => setFocused(false)}
      >
        <canvas ref={canvas} aria-hidden="true" {...hand} />
        {/* Only the plant under the cursor is spoken of; the table in the sheet holds them all. */}
        <div role="row" aria-rowindex={row < 0 ? undefined : row + 1} class="hidden">
          <div role="gridcell" id={cell} key={cell} aria-colindex={slot ? Math.max(1, picture.rows[row]!.plants.indexOf(slot.plant) + 1) : undefined}>
            {said}
          </div>
        </div>
      </div>
      <p class="hidden" id="rowmap-keys">
        {t("plants-keys")}
      </p>
      <div class="rowmap-tools" role="group" aria-label={t("plants-view")}>
        <button type="button" aria-label={t("core-zoom-in")} onClick={() => zoom(zoomStep)}>
          +
        </button>
        <button type="button" aria-label={t("core-zoom-out")} onClick={() => zoom(1 / zoomStep)}>
          −
        </button>
        <button type="button" aria-label={t("plants-fit")} title={t("plants-fit")} onClick={fit}>
          <svg viewBox="0 0 32 32" width="32" height="32" aria-hidden="true">
            <path d="M4 11V4h7M21 4h7v7M28 21v7h-7M11 28H4v-7" class="rows-up" />
          </svg>
        </button>
        <button type="button" class="north" aria-pressed={props.northUp} aria-label={t("plants-north-up")} title={t("plants-north-up")} onClick={() => props.onNorthUp(!props.northUp)}>
          <svg viewBox="0 0 32 40" width="32" height="40" aria-hidden="true">
            <path d="M16 2 L23 22 L16 18 L9 22 Z" class="north-tip" />
            <text x="16" y="37" text-anchor="middle">
              {t("core-north")}
            </text>
          </svg>
        </button>
      </div>
      <div class="rowmap-steps" role="group" aria-label={t("plants-steps")}>
        <Steps label={t("plants-row")} now={slot?.row} by={[-1, 1]} run={(n) => go({ rows: n })} />
        <Steps label={t("plants-plant")} now={slot?.plant} by={[-leap, -1, 1, leap]} run={(n) => go({ along: upwards(picture, slot) * n })} />
      </div>
    </div>
  );
}

function Steps({ label, now, by, run }: { label: string; now: number | undefined; by: readonly number[]; run: (n: number) => void }) {
  const t = useText();
  const button = (n: number) => (
    <button key={n} type="button" class={Math.abs(n) > 1 ? "leap" : undefined} aria-label={t(n < 0 ? "plants-back" : "plants-on", { what: label, n: Math.abs(n) })} onClick={() => run(n)}>
      {n < 0 ? "−" : "+"}
      {Math.abs(n) > 1 ? Math.abs(n) : ""}
    </button>
  );
  return (
    <div class="rowmap-step">
      {by.filter((n) => n < 0).map(button)}
      <span class="rowmap-now">
        <span>{label}</span> <strong>{now ?? "–"}</strong>
      </span>
      {by.filter((n) => n > 0).map(button)}
    </div>
  );
}

// More than twice the pixels cost frames and show no more of a square.
function ratioNow(): number {
  return Math.min(2, globalThis.devicePixelRatio || 1);
}

function upwards(picture: Picture, slot: Slot | null): 1 | -1 {
  return picture.rows.find((r) => r.number === slot?.row)?.upward === false ? -1 : 1;
}

function firstOf(picture: Picture): Slot | null {
  const rows = picture.rows.filter((r) => r.plants.length > 0);
  const first = rows.find((r) => r.number === Math.min(...rows.map((x) => x.number)));
  return first ? (slotOf(picture, first.number, Math.min(...first.plants)) ?? nearestIn(first, 0)) : null;
}

function tapped(picture: Picture, v: View, x: number, y: number): Slot | null {
  const [px, py] = fromScreen(v, x, y);
  const hit = nearestSlot(picture, px, py, acrossPx(v) / v.pitch);
  if (!hit) return null;
  const [sx, sy] = toScreen(v, hit.x, hit.y);
  return Math.hypot(sx - x, sy - y) <= Math.max(reachPx, acrossPx(v) * 0.6) ? hit : null;
}

/** Drags, pinches and taps on the picture. */
function useHand(at: { readonly current: { view: View | null; size: Size } }, picture: Picture, change: (v: View) => void, tap: (x: number, y: number) => void) {
  const down = useRef(new Map<number, Xy>());
  const still = useRef(true);
  const start = useRef<Xy>([0, 0]);
  const place = (e: PointerEvent): Xy => {
    const r = (e.currentTarget as Element).getBoundingClientRect();
    return [e.clientX - r.left, e.clientY - r.top];
  };
  return {
    onPointerDown(e: PointerEvent) {
      if (e.button !== 0) return;
      (e.currentTarget as Element).setPointerCapture(e.pointerId);
      const p = place(e);
      if (down.current.size === 0) {
        still.current = true;
        start.current = p;
      } else still.current = false;
      down.current.set(e.pointerId, p);
    },
    onPointerMove(e: PointerEvent) {
      const was = down.current.get(e.pointerId);
      const { view, size } = at.current;
      if (!was || !view) return;
      const p = place(e);
      if (still.current && Math.hypot(p[0] - start.current[0], p[1] - start.current[1]) < tapPx) return;
      still.current = false;
      const other = [...down.current].find(([id]) => id !== e.pointerId)?.[1];
      let next = view;
      if (other) {
        const [before, after] = [Math.hypot(was[0] - other[0], was[1] - other[1]), Math.hypot(p[0] - other[0], p[1] - other[1])];
        const middle: Xy = [(p[0] + other[0]) / 2, (p[1] + other[1]) / 2];
        if (before > 0) next = zoomed(next, picture, size, after / before, middle);
        next = panned(next, picture, size, [(p[0] - was[0]) / 2, (p[1] - was[1]) / 2]);
      } else next = panned(next, picture, size, [p[0] - was[0], p[1] - was[1]]);
      down.current.set(e.pointerId, p);
      change(next);
    },
    onPointerUp(e: PointerEvent) {
      const was = down.current.delete(e.pointerId);
      if (was && still.current && down.current.size === 0) tap(...place(e));
    },
    onPointerCancel(e: PointerEvent) {
      down.current.delete(e.pointerId);
    },
  };
}
