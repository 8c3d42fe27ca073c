import type { Answers, Imports, Progress, Proposal, Proposed } from "../../../api/imports";
import { asProblem, Problem } from "../../../api/problem";
import { type Signal, signal } from "../../../model/signal";
import { type Choices, firstChoices, type ForAll, nothingForAll } from "./agree";

// Often enough that the bar moves, seldom enough for a slow network.
const pollMs = 300;
// A network that comes and goes costs some asking, not the reading.
const pausesMs = [500, 1000, 2000, 4000, 8000];

export type Phase =
  | { readonly step: "file" }
  | { readonly step: "sending"; readonly file: string; readonly sent: number; readonly total: number }
  | { readonly step: "reading"; readonly file: string; readonly progress: Progress | null }
  | { readonly step: "proposed"; readonly file: string; readonly proposal: Proposal };

/** Where a file comes from that nobody chose: the screen that made it. */
export interface Origin {
  /** The view of Ground it was made in. */
  readonly view: string;
  readonly stored: () => void;
}

/**
 * One file on its way in, from choosing it to the proposal. It outlives the
 * screen, so that a look at a block loses no decision; while it is sent or read
 * it ends with the screen (stop).
 */
export class ImportWork {
  readonly phase: Signal<Phase> = signal<Phase>({ step: "file" });
  readonly choices: Signal<Choices> = signal<Choices>(new Map());
  readonly all: Signal<ForAll> = signal(nothingForAll);
  readonly problem: Signal<unknown> = signal<unknown>(null);
  readonly origin: Signal<Origin | null> = signal<Origin | null>(null);
  readonly #imports: Imports;
  readonly #wait: (ms: number) => Promise<void>;
  #answers: Answers = {};
  #running: AbortController | null = null;
  #id: string | null = null;

  constructor(imports: Imports, wait = (ms: number) => new Promise<void>((done) => setTimeout(done, ms))) {
    this.#imports = imports;
    this.#wait = wait;
  }

  get busy(): boolean {
    return this.#running !== null;
  }

  /** What was answered so far, beside what the file says. */
  get answers(): Answers {
    return this.#answers;
  }

  /** Sends a file and waits for what it holds; one at hand gives way. */
  read(file: File, answers: Answers, origin: Origin | null = null): Promise<void> {
    this.#answers = answers;
    this.origin.set(origin);
    return this.#run(file.name, { step: "file" }, async (signal) => {
      this.phase.set({ step: "sending", file: file.name, sent: 0, total: file.size });
      return this.#imports.propose(
        file,
        answers,
        ({ sent, total }) => {
          if (signal.aborted) return;
          const all = total || file.size;
          this.phase.set(sent < all ? { step: "sending", file: file.name, sent, total: all } : { step: "reading", file: file.name, progress: null });
        },
        signal,
      );
    });
  }

  /**
   * Has the file read again with further answers. A failure leaves the proposal
   * as it was; where an answer makes nothing of the file readable, its questions
   * stay, to be answered otherwise.
   */
  answer(more: Answers): Promise<void> {
    const before = this.phase.get();
    if (before.step !== "proposed") return Promise.resolve();
    const earlier = this.#answers;
    this.#answers = { ...earlier, ...more };
    return this.#run(before.file, before, async (signal) => {
      this.phase.set({ step: "reading", file: before.file, progress: null });
      return this.#imports.answer(before.proposal.id, more, signal);
    }).finally(() => {
      const now = this.phase.get();
      if (now === before) this.#answers = earlier;
      if (now.step !== "proposed" || now === before || now.proposal.state !== "refused") return;
      const { questions, columns } = before.proposal;
      this.phase.set({ ...now, proposal: { ...now.proposal, questions: now.proposal.questions?.length ? now.proposal.questions : questions, columns: now.proposal.columns ?? columns } });
    });
  }

  async #run(file: string, before: Phase, start: (signal: AbortSignal) => Promise<Proposal>): Promise<void> {
    this.#running?.abort();
    const running = new AbortController();
    this.#running = running;
    this.problem.set(null);
    try {
      const proposal = await this.#finished(await start(running.signal), file, running.signal);
      if (running.signal.aborted) return;
      this.#show(file, proposal);
    } catch (thrown) {
      if (running.signal.aborted) return;
      this.phase.set(before);
      this.problem.set(asProblem(thrown));
    } finally {
      if (this.#running === running) this.#running = null;
    }
  }

  async #finished(first: Proposal, file: string, signal: AbortSignal): Promise<Proposal> {
    let now = first;
    // Stopped between the last byte and this answer: the server does not know yet.
    if (signal.aborted) void this.#remove(first.id);
    else this.#id = first.id;
    for (let failures = 0; now.state === "reading" && !signal.aborted; ) {
      this.phase.set({ step: "reading", file, progress: now.progress ?? null });
      await this.#wait(pollMs);
      if (signal.aborted) break;
      try {
        now = await this.#imports.now(first.id, signal);
        failures = 0;
      } catch (thrown) {
        if (!(thrown instanceof Problem) || !thrown.offline || failures === pausesMs.length) throw thrown;
        await this.#wait(pausesMs[failures++]!);
      }
    }
    return now;
  }

  #show(file: string, proposal: Proposal): void {
    this.#id = proposal.id;
    this.choices.set(firstChoices(proposal.features ?? []));
    this.all.set(nothingForAll);
    this.phase.set({ step: "proposed", file, proposal });
  }

  /** The same proposal in another language; choices stay. */
  async retell(): Promise<void> {
    const before = this.phase.get();
    if (before.step !== "proposed") return;
    const proposal = await this.#imports.now(before.proposal.id).catch(() => null);
    if (proposal?.state === before.proposal.state && this.phase.get() === before) this.phase.set({ ...before, proposal });
  }

  /** Ends sending and reading; what was not read is forgotten. `leaving`: the page itself goes. */
  stop(leaving = false): void {
    if (!this.#running) return;
    this.#running.abort();
    this.#running = null;
    this.#drop(leaving);
  }

  /** Puts the proposal aside for another file. */
  forget(): void {
    this.#running?.abort();
    this.#running = null;
    this.#drop(false);
  }

  #drop(leaving: boolean): void {
    if (this.#id) void this.#remove(this.#id, leaving);
    this.#begin();
  }

  // Whether it worked changes nothing here: the server drops it within the hour.
  async #remove(id: string, leaving = false): Promise<void> {
    await this.#imports.remove(id, leaving).catch(() => undefined);
  }

  #begin(): void {
    this.#id = null;
    this.origin.set(null);
    this.phase.set({ step: "file" });
    this.choices.set(new Map());
    this.problem.set(null);
  }

  /** Stores what is taken: the import's id, or null when it was refused. */
  async store(take: Parameters<Imports["store"]>[1]): Promise<string | null> {
    const now = this.phase.get();
    if (now.step !== "proposed") return null;
    this.problem.set(null);
    try {
      await this.#imports.store(now.proposal.id, take);
      this.origin.get()?.stored();
      this.#begin();
      return now.proposal.id;
    } catch (thrown) {
      this.problem.set(asProblem(thrown));
      return null;
    }
  }
}

/** Every shape of a proposal; none before there is one. */
export function shapesOf(phase: Phase): readonly Proposed[] {
  return phase.step === "proposed" ? (phase.proposal.features ?? []) : [];
}

const works = new WeakMap<Imports, ImportWork>();

/** The work of a farm, as it was left. */
export function workOf(imports: Imports): ImportWork {
  let found = works.get(imports);
  if (!found) {
    found = new ImportWork(imports);
    works.set(imports, found);
  }
  return found;
}
