import { Problem } from "../api/problem";
import { t } from "../i18n";
import { type Kind, kinds } from "../model/kinds";
import { isUuid7 } from "../model/uuid7";
import { type ChangeEntry, type Entry, isChange, type NewEntry } from "./entries";
import type { KeptPhoto } from "./store";

const mark = "caneward-unsent";
const version = 1;
/** A file larger than this is none of ours: a season's finds with photos are a tenth of it. */
export const unsentMostBytes = 512 * 1024 * 1024;

interface UnsentFile {
  readonly kind: typeof mark;
  readonly version: number;
  readonly person: { readonly id: string; readonly name: string };
  readonly made_at: string;
  readonly changes: readonly UnsentChange[];
  readonly photos: readonly { readonly id: string; readonly farm: string; readonly type: string; readonly made_at: string; readonly data: string }[];
}

type UnsentChange = Pick<ChangeEntry, "op" | "kind" | "farm" | "id" | "record" | "base" | "made_at"> & { readonly why?: string };

/** What waits, as a file that another device can take in: changes in order, photos in base 64. */
export async function writeUnsent(person: { id: string; name: string }, entries: readonly Entry[], photo: (id: string) => Promise<KeptPhoto | undefined>): Promise<Blob> {
  const changes = entries.filter(isChange).map(({ op, kind, farm, id, record, base, made_at, why }): UnsentChange => ({ op, kind, farm, id, record, base, made_at, ...(why ? { why } : {}) }));
  const head = JSON.stringify({ kind: mark, version, person, made_at: new Date().toISOString(), changes });
  // Photo by photo: a hundred of them are no one string.
  const parts: string[] = [head.slice(0, -1), ',"photos":['];
  let first = true;
  for (const e of entries) {
    if (isChange(e)) continue;
    const kept = await photo(e.id);
    if (!kept) continue;
    parts.push(first ? "" : ",", JSON.stringify({ id: e.id, farm: e.farm, type: kept.type, made_at: e.made_at, data: base64(kept.data) }));
    first = false;
  }
  return new Blob([...parts, "]}"], { type: "application/json" });
}

export interface Unsent {
  readonly person: { readonly id: string; readonly name: string };
  readonly entries: readonly NewEntry[];
  readonly photos: readonly KeptPhoto[];
}

/** Reads such a file; a Problem says why it cannot be. */
export function readUnsent(text: string): Unsent {
  const got = parsed(text);
  const photos = got.photos.map((p): KeptPhoto => ({ id: p.id, farm: p.farm, type: p.type, data: bytes(p.data) }));
  const entries: NewEntry[] = [];
  // Counted as sent once: the first device may have sent it already.
  const common = { attempts: 1, said: "", held: null };
  for (const [i, p] of got.photos.entries()) {
    entries.push({ ...common, op: "photo", kind: "photos", farm: p.farm, id: p.id, type: p.type, bytes: photos[i]!.data.byteLength, made_at: p.made_at });
  }
  for (const c of got.changes) entries.push({ ...common, ...c });
  return { person: got.person, entries, photos };
}

function parsed(text: string): UnsentFile {
  let got: unknown;
  try {
    got = JSON.parse(text);
  } catch {
    throw refused();
  }
  const file = got as Partial<UnsentFile> | null;
  if (typeof file !== "object" || file?.kind !== mark || file.version !== version) throw refused();
  if (typeof file.person?.id !== "string" || typeof file.person.name !== "string") throw refused();
  if (!Array.isArray(file.changes) || !file.changes.every(goodChange)) throw refused();
  if (!Array.isArray(file.photos) || !file.photos.every(goodPhoto)) throw refused();
  return file as UnsentFile;
}

function goodChange(v: unknown): boolean {
  const c = v as Partial<UnsentChange> | null;
  if (typeof c !== "object" || c === null) return false;
  const named = typeof c.farm === "string" && typeof c.id === "string" && isUuid7(c.id) && kinds.includes(c.kind as Kind) && typeof c.made_at === "string";
  const based = c.base === null || (Number.isInteger(c.base) && c.base! >= 0);
  const whole = c.op === "put" ? c.record?.type === "Feature" && c.record.id === c.id : c.op === "delete" && c.record === null;
  return named && based && whole && (c.why === undefined || typeof c.why === "string");
}

function goodPhoto(v: unknown): boolean {
  const p = v as Partial<UnsentFile["photos"][number]> | null;
  if (typeof p !== "object" || p === null) return false;
  const image = p.type === "image/jpeg" || p.type === "image/png" || p.type === "image/webp";
  return typeof p.farm === "string" && typeof p.id === "string" && isUuid7(p.id) && image && typeof p.made_at === "string" && typeof p.data === "string" && /^[A-Za-z0-9+/]*={0,2}$/.test(p.data);
}

const refused = () => new Problem({ status: 0, title: t("offline-bad-file"), errors: [{ detail: t("offline-bad-file"), fix: t("offline-bad-file-fix") }] });

// btoa takes no more arguments than a stack holds.
const chunk = 0x6000;

function base64(data: ArrayBuffer): string {
  const all = new Uint8Array(data);
  let text = "";
  for (let at = 0; at < all.length; at += chunk) text += btoa(String.fromCharCode(...all.subarray(at, at + chunk)));
  return text;
}

function bytes(text: string): ArrayBuffer {
  const raw = atob(text);
  const out = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) out[i] = raw.charCodeAt(i);
  return out.buffer;
}
