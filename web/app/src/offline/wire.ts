import type { Touched } from "../model/farm";

/** What tabs of one person tell each other. */
export type Word =
  /** What waits has changed. */
  | { readonly what: "queue" }
  /** The sender is done; another may send. */
  | { readonly what: "free" }
  /** Somebody signed in or out. */
  | { readonly what: "session" }
  | { readonly what: "records"; readonly farm: string; readonly touched: readonly Touched[] }
  /** Everything of a farm is read anew. */
  | { readonly what: "anew"; readonly farm: string };

/** A channel between the tabs of one person. */
export class Wire {
  readonly #channel: BroadcastChannel | null;
  readonly #listeners = new Set<(word: Word) => void>();

  constructor(name: string) {
    this.#channel = "BroadcastChannel" in globalThis ? new BroadcastChannel(name) : null;
    this.#channel?.addEventListener("message", (e: MessageEvent<Word>) => this.#hear(e.data));
  }

  #hear(word: Word): void {
    for (const heard of Array.from(this.#listeners)) heard(word);
  }

  /** To the other tabs. */
  say(word: Word): void {
    this.#channel?.postMessage(word);
  }

  /** To the other tabs and this one. */
  tell(word: Word): void {
    this.say(word);
    this.#hear(word);
  }

  listen(heard: (word: Word) => void): () => void {
    this.#listeners.add(heard);
    return () => this.#listeners.delete(heard);
  }

  close(): void {
    this.#channel?.close();
    this.#listeners.clear();
  }
}
