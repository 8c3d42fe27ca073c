import { useEffect, useRef, useState } from "preact/hooks";
import { locale } from "../../i18n";
import { TextField } from "../../ui/form";
import { useText } from "../../ui/hooks";
import { type Column, filterRows, nextOrder, type Order, sortRows, toCsv, toTabs } from "./table";
import "./datatable.css";

/** More lines than this are drawn only when asked for: a phone takes seconds over thousands. */
const firstLines = 200;

/** Fewer lines than this are seen at a glance. */
const searchFrom = 8;

export interface DataTableProps<Row> {
  /** Its heading and its name. */
  readonly caption: string;
  /** Under another heading of the second level. */
  readonly under?: boolean;
  readonly columns: readonly Column<Row>[];
  readonly rows: readonly Row[];
  readonly keyOf: (row: Row) => string;
  /** Name of the file a download gets, without its ending. */
  readonly file: string;
  readonly chosen?: string | undefined;
  /** With this the first cell of each line is a button. */
  readonly onChoose?: (row: Row) => void;
  /** What that button does, in words that hold the cell's own. */
  readonly chooseName?: (row: Row) => string;
  readonly first?: Order | undefined;
}

/** A table that sorts, filters, copies and downloads what it shows. */
export function DataTable<Row>(props: DataTableProps<Row>) {
  const t = useText();
  const { columns, rows, keyOf } = props;
  const [order, setOrder] = useState<Order | null>(props.first ?? null);
  const [search, setSearch] = useState("");
  const [all, setAll] = useState(false);
  const [copied, setCopied] = useState(false);
  const chosenLine = useRef<HTMLTableRowElement>(null);
  useEffect(() => chosenLine.current?.scrollIntoView({ block: "nearest" }), [props.chosen]);

  const found = sortRows(filterRows(rows, columns, search), columns, order, locale());
  const at = found.findIndex((r) => keyOf(r) === props.chosen);
  const lines = all || at >= firstLines ? found : found.slice(0, firstLines);

  const copy = async () => {
    await navigator.clipboard.writeText(toTabs(columns, found));
    setCopied(true);
  };
  const download = () => {
    const address = URL.createObjectURL(new Blob([toCsv(columns, found)], { type: "text/csv;charset=utf-8" }));
    const link = document.createElement("a");
    link.href = address;
    link.download = `${props.file}.csv`;
    link.click();
    URL.revokeObjectURL(address);
  };

  return (
    <div class="datatable">
      {props.under ? <h3>{props.caption}</h3> : <h2>{props.caption}</h2>}
      <div class="table-tools">
        {rows.length >= searchFrom && <TextField label={t("core-filter")} type="search" value={search} onValue={setSearch} />}
        <button type="button" onClick={download}>
          {t("core-download-csv")}
        </button>
        {"clipboard" in navigator && (
          <button type="button" onClick={() => void copy()}>
            {t("core-copy")}
          </button>
        )}
        <span class="soft" role="status">
          {copied ? t("core-copied") : t("core-rows-shown", { n: found.length })}
        </span>
      </div>
      <div class="table-scroll" role="region" aria-label={props.caption} tabIndex={0}>
        <table>
          <caption class="hidden">{props.caption}</caption>
          <thead>
            <tr>
              {columns.map((c) => (
                <th
                  key={c.key}
                  scope="col"
                  aria-sort={order?.key === c.key ? (order.down ? "descending" : "ascending") : undefined}
                >
                  <button type="button" class="link sort" onClick={() => setOrder(nextOrder(order, c.key))}>
                    {c.head}
                    {order?.key === c.key && <span aria-hidden="true">{order.down ? " ▼" : " ▲"}</span>}
                  </button>
                </th>
              ))}
            </tr>
          </thead>
          <tbody>
            {lines.map((row) => {
              const key = keyOf(row);
              const chosen = key === props.chosen;
              return (
                <tr key={key} ref={chosen ? chosenLine : undefined} class={chosen ? "chosen" : undefined} aria-current={chosen || undefined}>
                  {columns.map((c, i) => {
                    const cell = c.cell(row);
                    const shown = c.show ? c.show(row) : String(cell ?? "");
                    return (
                      <td key={c.key} class={typeof cell === "number" ? "number" : undefined}>
                        {i === 0 && props.onChoose ? (
                          <button type="button" class="link" aria-label={props.chooseName?.(row)} onClick={() => props.onChoose?.(row)}>
                            {shown}
                          </button>
                        ) : (
                          shown
                        )}
                      </td>
                    );
                  })}
                </tr>
              );
            })}
          </tbody>
        </table>
      </div>
      {lines.length < found.length && (
        <button type="button" onClick={() => setAll(true)}>
          {t("core-all-lines", { n: found.length })}
        </button>
      )}
    </div>
  );
}
