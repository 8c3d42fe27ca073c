/** How much of a phone's screen the sheet takes. */
export const sheetHeights = ["low", "half", "full"] as const;
export type SheetHeight = (typeof sheetHeights)[number];

/** Handlers that follow a pointer from press to release; x, y in CSS pixels of the window. */
export function useDrag(moved: (x: number, y: number, done: boolean) => void) {
  return {
    onPointerDown(e: PointerEvent) {
      (e.currentTarget as Element).setPointerCapture(e.pointerId);
    },
    onPointerMove(e: PointerEvent) {
      if ((e.currentTarget as Element).hasPointerCapture(e.pointerId)) moved(e.clientX, e.clientY, false);
    },
    onPointerUp(e: PointerEvent) {
      moved(e.clientX, e.clientY, true);
    },
  };
}
