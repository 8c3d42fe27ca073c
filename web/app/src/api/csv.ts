/** Reads CSV with a header line (RFC 4180): one object a line, by column name. Short lines lack their last columns. */
export function readCsv(text: string): Record<string, string>[] {
  const [head, ...lines] = cells(text);
  if (!head) return [];
  return lines.map((line) => Object.fromEntries(line.map((cell, i) => [head[i] ?? String(i), cell])));
}

function cells(text: string): string[][] {
  const lines: string[][] = [];
  let line: string[] = [];
  const cell = /"((?:[^"]|"")*)"|([^",\r\n]*)/y;
  for (let at = text.startsWith("\uFEFF") ? 1 : 0; at < text.length; ) {
    cell.lastIndex = at;
    const m = cell.exec(text);
    if (!m) break;
    line.push(m[1] !== undefined ? m[1].replaceAll('""', '"') : (m[2] ?? ""));
    at = cell.lastIndex;
    if (text[at] === ",") {
      at += 1;
      if (at === text.length) line.push("");
      continue;
    }
    lines.push(line);
    line = [];
    if (text[at] === "\r") at += 1;
    if (text[at] === "\n") at += 1;
    else if (at < text.length && text[at - 1] !== "\r") break;
  }
  if (line.length > 0) lines.push(line);
  return lines;
}
