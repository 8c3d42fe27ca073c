import { useState } from "preact/hooks";
import { type ImportKind, importKinds } from "../../../api/imports";
import { signal } from "../../../model/signal";
import { useSignal, useText } from "../../../ui/hooks";
import { ProblemNote } from "../../../ui/notes";
import { say } from "../../../ui/undo";
import type { PlaceProps } from "../../place";

/** An import that was stored and can still be taken back as a whole. */
export interface Stored {
  readonly farm: string;
  readonly id: string;
  readonly kind: ImportKind;
  readonly n: number;
  readonly file: string;
}

// As long as the window is open, also when the page is fetched anew.
const shelf = "caneward.imports";

function read(): readonly Stored[] {
  try {
    const held: unknown = JSON.parse(globalThis.sessionStorage?.getItem(shelf) ?? "[]");
    return Array.isArray(held) ? held.filter(isStored) : [];
  } catch {
    return [];
  }
}

function isStored(v: unknown): v is Stored {
  const s = v as Partial<Stored> | null;
  return typeof s?.farm === "string" && typeof s.id === "string" && importKinds.includes(s.kind as ImportKind) && typeof s.n === "number" && typeof s.file === "string";
}

const held = signal<readonly Stored[]>(read());

function keep(next: readonly Stored[]): void {
  held.set(next);
  try {
    globalThis.sessionStorage?.setItem(shelf, JSON.stringify(next));
  } catch {
    // Windows that refuse storage keep it as long as the page lives.
    return;
  }
}

/** Offers an import to be taken back until the person closes the line. */
export function offerUndo(stored: Stored): void {
  keep([...held.get(), stored]);
}

/** What was stored from files, each with its undo. */
export function StoredBars(props: PlaceProps) {
  const all = useSignal(held).filter((s) => s.farm === props.farm.id);
  return (
    <>
      {all.map((s) => (
        <StoredBar key={s.id} {...props} stored={s} />
      ))}
    </>
  );
}

function StoredBar({ farm, api, map, stored }: PlaceProps & { stored: Stored }) {
  const t = useText();
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<unknown>(null);
  const drop = () => keep(held.get().filter((s) => s.id !== stored.id));
  const undo = async () => {
    setBusy(true);
    setProblem(null);
    try {
      const n = await api.imports.remove(stored.id);
      drop();
      say(t("ground-import-undone", { n }));
      await farm.load(stored.kind, true);
    } catch (thrown) {
      setProblem(thrown);
      setBusy(false);
    }
  };
  return (
    <section class="stored-bar" aria-label={t("ground-import-what")}>
      <p>{t(`ground-import-stored-${stored.kind}`, { n: stored.n, file: stored.file })}</p>
      <div class="buttons">
        <button type="button" onClick={() => void undo()} disabled={busy} aria-busy={busy}>
          {t("ground-import-undo")}
        </button>
        <button type="button" onClick={drop} disabled={busy}>
          {t("core-close")}
        </button>
      </div>
      <ProblemNote problem={problem} map={map} />
    </section>
  );
}
