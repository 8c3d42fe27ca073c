import { useEffect, useRef } from "preact/hooks";
import { signal } from "../model/signal";
import { useSignal } from "./hooks";

export interface Action {
  /** Says what happens: "Save 3 rows". */
  readonly label: string;
  readonly run: () => void;
  /** Why it cannot be done now, in words; shown beside the button. */
  readonly blocked?: string;
  readonly busy?: boolean;
}

const current = signal<Action | null>(null);

/** Declares the screen's one main action; it shows in the bar while this is drawn. */
export function MainAction({ label, run, blocked, busy }: Action) {
  const latest = useRef(run);
  latest.current = run;
  useEffect(() => {
    const mine: Action = { label, run: () => latest.current(), blocked, busy };
    current.set(mine);
    return () => {
      if (current.get() === mine) current.set(null);
    };
  }, [label, blocked, busy]);
  return null;
}

/** Where the main action shows: 72 px at the bottom, within a thumb's reach. */
export function ActionBar() {
  const action = useSignal(current);
  if (!action) return null;
  return (
    <div class="action-bar">
      {action.blocked && <p class="action-why">{action.blocked}</p>}
      <button type="button" class="main" onClick={action.run} disabled={Boolean(action.blocked) || action.busy} aria-busy={action.busy}>
        {action.label}
      </button>
    </div>
  );
}
