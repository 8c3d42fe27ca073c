import { useState } from "preact/hooks";
import type { Answers, Columns } from "../../../api/imports";
import { useText } from "../../../ui/hooks";

export type ReadAgain = (answers: Answers) => void;

/** The first lines of a table, each column with a list of what it can be. */
export function ColumnTable({ columns, again }: { columns: Columns; again: ReadAgain }) {
  const t = useText();
  const [said, setSaid] = useState<Readonly<Record<string, string>>>(columns.guess);
  return (
    <form
      onSubmit={(e) => {
        e.preventDefault();
        again({ columns: said });
      }}
    >
      <div class="wide" tabIndex={0} role="region" aria-label={t("imports-columns")}>
        <table>
          <caption class="hidden">{t("imports-columns-first")}</caption>
          <thead>
            <tr>
              {columns.header.map((name, i) => (
                <th scope="col" key={i}>
                  {name || t("imports-column-unnamed", { n: i + 1 })}
                </th>
              ))}
            </tr>
            <tr>
              {columns.header.map((name, i) => (
                <td key={i}>
                  <select
                    aria-label={t("imports-column", { name: name || t("imports-column-unnamed", { n: i + 1 }) })}
                    value={said[name] ?? kept}
                    onChange={(e) => setSaid(taken(said, name, e.currentTarget.value))}
                  >
                    {columns.fields.map((f) => (
                      <option key={f.value} value={f.value}>
                        {f.text}
                      </option>
                    ))}
                  </select>
                </td>
              ))}
            </tr>
          </thead>
          <tbody>
            {columns.rows.slice(0, 5).map((row, i) => (
              <tr key={i}>
                {columns.header.map((_, j) => (
                  <td key={j}>{row[j] ?? ""}</td>
                ))}
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      <div class="buttons">
        <button type="submit">{t("imports-apply")}</button>
      </div>
    </form>
  );
}

// The field of a column that stays as it is, and that of one that is left out:
// any number of columns can be these.
const kept = "other";
const shared = [kept, "leave"];

/** A column taken as a field. No other column keeps that field: the one that had it stays as it is. */
export function taken(said: Readonly<Record<string, string>>, column: string, field: string): Record<string, string> {
  const moved = Object.entries(said).map(([name, f]) => [name, f === field && !shared.includes(field) ? kept : f]);
  return { ...Object.fromEntries(moved), [column]: field };
}
