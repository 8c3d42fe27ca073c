import { useEffect, useState } from "preact/hooks";
import type { Options } from "../api/client";
import { language } from "../i18n";
import { useSignal } from "./hooks";

export interface Asked<T> {
  /** The newest answer; null before the first. */
  readonly now: T | null;
  readonly problem: unknown;
  readonly again: () => void;
  /** Takes a newer answer that came some other way. */
  readonly take: (now: T) => void;
}

/** Asks the server, and anew when `of` or the language changes: its words come in the language they were asked in. */
export function useAsked<T>(ask: (options: Options) => Promise<T>, of: readonly unknown[]): Asked<T> {
  const spoken = useSignal(language);
  const [answer, setAnswer] = useState<{ now: T | null; problem: unknown }>({ now: null, problem: null });
  const [turn, setTurn] = useState(0);
  useEffect(() => {
    const stop = new AbortController();
    ask({ signal: stop.signal }).then(
      (now) => setAnswer({ now, problem: null }),
      (problem: unknown) => {
        if (!stop.signal.aborted) setAnswer((was) => ({ ...was, problem }));
      },
    );
    return () => stop.abort();
  }, [...of, spoken, turn]);
  return { ...answer, again: () => setTurn((n) => n + 1), take: (now) => setAnswer({ now, problem: null }) };
}
