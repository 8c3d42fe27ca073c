/**
 * A number as typed, with a point or a comma for its decimals. NaN for what is
 * none, and for "1,500": a comma before three digits may mean either.
 */
export function typedNumber(text: string): number {
  const t = text.trim();
  if (/^-?\d+,\d{3}$/.test(t) || !/^-?(\d+([.,]\d*)?|[.,]\d+)$/.test(t)) return Number.NaN;
  return Number(t.replace(",", "."));
}

/** A figure for a form: at most this many decimals, never grouped, a point for decimals. */
export function formNumber(value: number | undefined, decimals: number): string {
  if (value === undefined || !Number.isFinite(value)) return "";
  return String(Number(value.toFixed(decimals)));
}
