/** A cell as it sorts and exports: the figure itself, not its dress. */
export type Cell = string | number | null;

export interface Column<Row> {
  readonly key: string;
  /** The heading as shown; it names the unit where there is one. */
  readonly head: string;
  readonly cell: (row: Row) => Cell;
  /** The words on screen where they differ from the cell. */
  readonly show?: (row: Row) => string;
}

export interface Order {
  readonly key: string;
  readonly down: boolean;
}

/** Pressing a heading: a new column sorts upward, the same one turns round. */
export function nextOrder(order: Order | null, key: string): Order {
  return { key, down: order?.key === key ? !order.down : false };
}

/**
 * Sorts without changing the input; equal cells keep their order and empty
 * cells stand last either way. Text sorts as people read it: "Block 9" before
 * "Block 10".
 */
export function sortRows<Row>(
  rows: readonly Row[],
  columns: readonly Column<Row>[],
  order: Order | null,
  locale: string,
): Row[] {
  const column = columns.find((c) => c.key === order?.key);
  if (!order || !column) return [...rows];
  const collator = new Intl.Collator(locale, { numeric: true, sensitivity: "base" });
  const sign = order.down ? -1 : 1;
  return [...rows].sort((a, b) => {
    const [x, y] = [column.cell(a), column.cell(b)];
    if (x === null || y === null) return x === y ? 0 : x === null ? 1 : -1;
    if (typeof x === "number" && typeof y === "number") return sign * (x - y);
    return sign * collator.compare(String(x), String(y));
  });
}

/** Lower case without accents, so that "cana" finds "caña". */
function plain(text: string): string {
  return text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
}

function shown<Row>(column: Column<Row>, row: Row): string {
  return column.show ? column.show(row) : String(column.cell(row) ?? "");
}

/** Keeps the rows in which every word of the search stands in some shown cell. */
export function filterRows<Row>(
  rows: readonly Row[],
  columns: readonly Column<Row>[],
  search: string,
): Row[] {
  const wanted = plain(search).split(/\s+/).filter(Boolean);
  if (wanted.length === 0) return [...rows];
  return rows.filter((row) => {
    const text = plain(columns.map((c) => shown(c, row)).join("\u0001"));
    return wanted.every((word) => text.includes(word));
  });
}

/**
 * Spreadsheets run text that opens with one of these as a formula. Words typed
 * by people get an apostrophe in front, which spreadsheets hide; numbers do not.
 */
const formulaStart = /^[=+\-@\t\r]/;

function safeText(cell: Cell): string {
  if (typeof cell === "number") return String(cell);
  const text = cell ?? "";
  return formulaStart.test(text) ? `'${text}` : text;
}

/** RFC 4180: comma, CRLF, quotes doubled. Numbers keep every digit and the point. */
export function toCsv<Row>(columns: readonly Column<Row>[], rows: readonly Row[]): string {
  const quote = (text: string) => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
  const lines = [
    columns.map((c) => quote(safeText(c.head))),
    ...rows.map((row) => columns.map((c) => quote(safeText(c.cell(row))))),
  ];
  return lines.map((line) => line.join(",") + "\r\n").join("");
}

/** For the clipboard: tabs between cells, as spreadsheets paste them. */
export function toTabs<Row>(columns: readonly Column<Row>[], rows: readonly Row[]): string {
  const flat = (text: string) => text.replace(/[\t\r\n]+/g, " ");
  const lines = [
    columns.map((c) => flat(safeText(c.head))),
    ...rows.map((row) => columns.map((c) => flat(safeText(c.cell(row))))),
  ];
  return lines.map((line) => line.join("\t")).join("\n");
}
