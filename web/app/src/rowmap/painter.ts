import { drawGround, drawOver, type Ready, type Shown } from "./draw";
import { fromScreen, type Size, toScreen, type View } from "./view";

// Ground drawn beyond the edges, so that a drag shows it before it is drawn anew.
const pad = 160;
// A copy drawn larger or smaller than this is too coarse to go on with.
const most = 1.6;
// A hand that rests this long gets a sharp picture.
const restMs = 120;

/**
 * Draws frames of a picture. Thousands of plants take longer than a frame may:
 * they are drawn once on a canvas of their own, which is moved and stretched
 * while a hand drags or zooms, and drawn anew when it rests.
 */
export class Painter {
  readonly #copy = document.createElement("canvas");
  #of: { made: Ready; view: View; size: Size; ratio: number } | null = null;
  #timer = 0;

  /** Draws one frame; `again` is called when a sharper one is due. */
  paint(c: CanvasRenderingContext2D, made: Ready, view: View, size: Size, ratio: number, shown: Shown, again: () => void): void {
    clearTimeout(this.#timer);
    if (!this.#serves(made, view, size, ratio)) this.#draw(made, view, size, ratio);
    const old = this.#of!.view;
    const [x0, y0] = carried(old, view, -pad, -pad);
    if (old.pitch === view.pitch) {
      c.setTransform(1, 0, 0, 1, 0, 0);
      c.drawImage(this.#copy, Math.round(x0 * ratio), Math.round(y0 * ratio));
    } else {
      const [x1, y1] = carried(old, view, 1 - pad, -pad);
      const [x2, y2] = carried(old, view, -pad, 1 - pad);
      c.setTransform(ratio, 0, 0, ratio, 0, 0);
      c.fillStyle = "#FFFFFF";
      c.fillRect(0, 0, size.width, size.height);
      c.setTransform(x1 - x0, y1 - y0, x2 - x0, y2 - y0, x0 * ratio, y0 * ratio);
      c.drawImage(this.#copy, 0, 0);
      this.#timer = window.setTimeout(() => {
        this.#of = null;
        again();
      }, restMs);
    }
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    drawOver(c, made, view, size, shown);
  }

  end(): void {
    clearTimeout(this.#timer);
  }

  #serves(made: Ready, view: View, size: Size, ratio: number): boolean {
    const of = this.#of;
    if (!of || of.made !== made || of.size !== size || of.ratio !== ratio || of.view.turn !== view.turn || of.view.wide !== view.wide) return false;
    const k = view.pitch / of.view.pitch;
    if (k > most || k < 1 / most) return false;
    if (k !== 1) return true;
    return Math.abs(view.dx - of.view.dx) <= pad && Math.abs(view.dy - of.view.dy) <= pad;
  }

  #draw(made: Ready, view: View, size: Size, ratio: number): void {
    const room = { width: size.width + 2 * pad, height: size.height + 2 * pad };
    const [width, height] = [Math.round(room.width * ratio), Math.round(room.height * ratio)];
    if (this.#copy.width !== width) this.#copy.width = width;
    if (this.#copy.height !== height) this.#copy.height = height;
    const c = this.#copy.getContext("2d", { alpha: false });
    if (!c) return;
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    drawGround(c, made, { ...view, dx: view.dx + pad, dy: view.dy + pad }, room);
    this.#of = { made, view, size, ratio };
  }
}

// Where a place of one view's screen lies on another's.
function carried(from: View, to: View, x: number, y: number): readonly [number, number] {
  const [px, py] = fromScreen(from, x, y);
  return toScreen(to, px, py);
}
