import { useEffect, useRef } from "preact/hooks";
import { signal } from "../model/signal";
import { useSignal, useText } from "./hooks";

interface Said {
  readonly text: string;
  readonly undo?: () => void;
}

// Long enough to read and to reach with a glove on.
const shownMs = 10_000;

const said = signal<Said | null>(null);

/** Says shortly what was done; with `undo` it can be taken back for ten seconds. */
export function say(text: string, undo?: () => void): void {
  said.set({ text, undo });
}

/** Where say() shows; drawn once, by the frame. */
export function SaidLine() {
  const t = useText();
  const now = useSignal(said);
  const timer = useRef(0);
  useEffect(() => {
    if (!now) return;
    timer.current = window.setTimeout(() => said.set(null), shownMs);
    return () => clearTimeout(timer.current);
  }, [now]);
  return (
    <div class="said" role="status">
      {now && (
        <p>
          <span>{now.text}</span>
          {now.undo && (
            <button
              type="button"
              onClick={() => {
                now.undo?.();
                said.set(null);
              }}
            >
              {t("core-undo")}
            </button>
          )}
        </p>
      )}
    </div>
  );
}
