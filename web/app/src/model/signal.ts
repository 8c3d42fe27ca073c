/** A value that tells its listeners when it is set to something else. */
export interface Signal<T> {
  get(): T;
  /** Equal (===) values tell nobody. */
  set(value: T): void;
  /** Called after each change; the answer ends the listening. */
  listen(heard: () => void): () => void;
}

export function signal<T>(first: T): Signal<T> {
  let value = first;
  const listeners = new Set<() => void>();
  return {
    get: () => value,
    set(next) {
      if (next === value) return;
      value = next;
      for (const heard of Array.from(listeners)) heard();
    },
    listen(heard) {
      listeners.add(heard);
      return () => listeners.delete(heard);
    },
  };
}

/** A signal whose value outlives the page on this device, where the browser lets it. */
export function kept<T extends string>(key: string, allowed: readonly T[], first: T): Signal<T> {
  const inner = signal(allowed.find((v) => v === read(key)) ?? first);
  return {
    ...inner,
    set(next) {
      write(key, next);
      inner.set(next);
    },
  };
}

// Private windows may refuse storage; the setting then lasts as long as the page.
function read(key: string): string | null {
  try {
    return globalThis.localStorage?.getItem(key) ?? null;
  } catch {
    return null;
  }
}

function write(key: string, value: string): void {
  try {
    globalThis.localStorage?.setItem(key, value);
  } catch {
    return;
  }
}
