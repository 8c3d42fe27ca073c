import type { FarmMap, OutlineMode, ShapeMode } from "./farmmap";

const nothing = () => undefined;
const never = () => nothing;

const shapeMode: ShapeMode<never> = { set: nothing, undo: nothing, finish: nothing, leave: nothing };
const outlineMode: OutlineMode = { undo: nothing, redo: nothing, cutHole: nothing, addPart: nothing, finishRing: nothing, removeCorner: nothing, set: nothing, leave: nothing };

/**
 * What a place that may be drawn early is given until the map is here: nothing
 * shows and nothing is heard. Everything it asks for hangs on the map it is
 * given, and is asked again of the drawn one.
 */
export const noMap: FarmMap = {
  setBlocks: nothing,
  setRows: nothing,
  hideRows: nothing,
  setSurroundings: nothing,
  setFinds: nothing,
  dressFinds: nothing,
  setPlants: nothing,
  setLargeMarks: nothing,
  setOverlay: nothing,
  setDefects: nothing,
  choose: nothing,
  onPick: never,
  drawOutline: () => outlineMode,
  drawPoint: () => shapeMode,
  drawLine: () => shapeMode,
  fit: nothing,
  goTo: nothing,
  centre: () => [0, 0],
  turnTo: nothing,
  north: nothing,
  zoomBy: nothing,
  onTurn: never,
  setHere: nothing,
};
