/** Whether a unit is worth saying after a figure; counts have none. */
export function lengthUnits(unit: string): boolean {
  return unit !== "" && unit !== "count" && unit !== "1";
}
