/** One property that differs between two revisions, by its path. */
export interface Change {
  readonly path: string;
  readonly before: unknown;
  readonly after: unknown;
}

// A record holds a few dozen properties; more changes than this is a new record.
const mostChanges = 200;

/** What changed between two JSON values, in path order. Lists are compared place by place. */
export function changes(before: unknown, after: unknown, path = ""): Change[] {
  if (same(before, after)) return [];
  if (!isObject(before) || !isObject(after)) return [{ path, before, after }];
  const out: Change[] = [];
  for (const key of [...new Set([...Object.keys(before), ...Object.keys(after)])].sort()) {
    const at = Array.isArray(before) || Array.isArray(after) ? `${path}[${key}]` : path ? `${path}.${key}` : key;
    out.push(...changes(before[key], after[key], at));
    if (out.length >= mostChanges) break;
  }
  return out;
}

function isObject(v: unknown): v is Record<string, unknown> {
  return typeof v === "object" && v !== null;
}

function same(a: unknown, b: unknown): boolean {
  if (a === b) return true;
  if (!isObject(a) || !isObject(b) || Array.isArray(a) !== Array.isArray(b)) return false;
  const [ka, kb] = [Object.keys(a), Object.keys(b)];
  return ka.length === kb.length && ka.every((k) => k in b && same(a[k], b[k]));
}
