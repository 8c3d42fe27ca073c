import { describe, expect, it, vi } from "vitest";
import type { Imports, Proposal } from "../../../api/imports";
import { Problem } from "../../../api/problem";
import { ImportWork } from "./work";

const proposal = (over: Partial<Proposal> = {}): Proposal => ({
  id: "p",
  kind: "blocks",
  state: "proposed",
  features: [{ number: 1, id: "a", name: "North", state: "ready", choices: ["read"], feature: { type: "Feature", geometry: null, properties: {} } }],
  ...over,
});
const reading = (done: number): Proposal => proposal({ state: "reading", features: null, progress: { done, total: 100, features: done } });
const file = new File(["0123456789"], "north.kml");
const offline = new Problem({ status: 0, title: "no answer" });

/** A work whose server answers from lists; waiting takes no time. */
function work(over: { propose?: (Proposal | Error)[]; now?: (Proposal | Error)[]; answer?: (Proposal | Error)[]; store?: Error[]; onWait?: () => void }) {
  const next = (list: (Proposal | Error)[] | undefined) => () => {
    const one = list?.shift() ?? new Error("asked too often");
    return one instanceof Error ? Promise.reject(one) : Promise.resolve(one);
  };
  const remove = vi.fn(() => Promise.resolve(0));
  const imports = {
    propose: vi.fn(next(over.propose)),
    now: vi.fn(next(over.now)),
    answer: vi.fn(next(over.answer)),
    store: vi.fn(() => (over.store?.length ? Promise.reject(over.store.shift()) : Promise.resolve({ outcomes: [], sequence: 1 }))),
    remove,
  };
  const made = new ImportWork(imports as unknown as Imports, () => Promise.resolve(over.onWait?.()));
  const steps: string[] = [];
  made.phase.listen(() => {
    const p = made.phase.get();
    steps.push(p.step === "reading" ? `reading ${p.progress?.done ?? "-"}` : p.step);
  });
  return { made, imports, steps };
}

describe("a file on its way in", () => {
  it("is sent, read and proposed, with what is ready taken", async () => {
    const { made, steps } = work({ propose: [reading(10)], now: [reading(50), proposal()] });
    await made.read(file, { kind: "blocks" });
    expect(steps).toEqual(["sending", "reading 10", "reading 50", "proposed"]);
    expect(made.choices.get().get(1)?.as).toBe("read");
    expect(made.busy).toBe(false);
  });
  it("that is refused leaves the file to be chosen again, and says why", async () => {
    const { made } = work({ propose: [new Problem({ status: 422, title: "no" })] });
    await made.read(file, {});
    expect([made.phase.get().step, (made.problem.get() as Problem).status]).toEqual(["file", 422]);
  });
  it("outlives a network that comes and goes", async () => {
    const { made } = work({ propose: [reading(0)], now: [offline, offline, reading(5), offline, proposal()] });
    await made.read(file, {});
    expect(made.phase.get().step).toBe("proposed");
  });
  it("ends when no answer comes any more", async () => {
    const { made } = work({ propose: [reading(0)], now: Array.from({ length: 9 }, () => offline) });
    await made.read(file, {});
    expect([made.phase.get().step, made.problem.get()]).toEqual(["file", offline]);
  });
  it("stopped while it is read is forgotten by the server and shows nothing later", async () => {
    const at: { stop?: () => void } = {};
    const { made, imports } = work({ propose: [reading(0)], now: [proposal()], onWait: () => at.stop?.() });
    at.stop = () => made.stop();
    await made.read(file, {});
    expect(made.phase.get().step).toBe("file");
    expect(imports.remove).toHaveBeenCalledWith("p", false);
    expect(imports.now).not.toHaveBeenCalled();
    expect(made.problem.get()).toBeNull();
  });
  it("stopped before the server's first answer is forgotten once that comes", async () => {
    const { made, imports } = work({});
    let answer: (p: Proposal) => void = () => undefined;
    imports.propose.mockImplementation(() => new Promise((done) => (answer = done)));
    const read = made.read(file, {});
    made.stop();
    answer(reading(0));
    await read;
    expect(imports.remove).toHaveBeenCalledWith("p", false);
    expect(made.phase.get().step).toBe("file");
  });
});

describe("a file a screen made", () => {
  const made = (store: Error[] = []) => ({ ...work({ propose: [proposal(), proposal()], store }), origin: { view: "round", stored: vi.fn() } });
  it("is known as such until it is stored, and its screen hears of that once", async () => {
    const { made: one, origin } = made([new Problem({ status: 422, title: "no" })]);
    await one.read(file, {}, origin);
    expect(one.origin.get()).toBe(origin);
    await one.store([]);
    expect([one.origin.get(), origin.stored.mock.calls.length]).toEqual([origin, 0]);
    await one.store([]);
    expect([one.origin.get(), origin.stored.mock.calls.length]).toEqual([null, 1]);
  });
  it("gives way to one that was chosen", async () => {
    const { made: one, origin } = made();
    await one.read(file, {}, origin);
    await one.read(file, {});
    await one.store([]);
    expect([one.origin.get(), origin.stored.mock.calls.length]).toEqual([null, 0]);
  });
  it("is put aside with its proposal", async () => {
    const { made: one, origin } = made();
    await one.read(file, {}, origin);
    one.forget();
    expect(one.origin.get()).toBeNull();
  });
});

describe("a proposal", () => {
  it("is read again with an answer; earlier ones are remembered", async () => {
    const { made, imports } = work({ propose: [proposal()], answer: [reading(1)], now: [proposal({ format: "CSV" })] });
    await made.read(file, { kind: "finds" });
    await made.answer({ system: "EPSG:32615" });
    expect(imports.answer.mock.calls[0]?.slice(0, 2)).toEqual(["p", { system: "EPSG:32615" }]);
    expect(made.answers).toEqual({ kind: "finds", system: "EPSG:32615" });
    expect(made.phase.get()).toMatchObject({ step: "proposed", proposal: { format: "CSV" } });
  });
  it("stays when an answer is refused", async () => {
    const { made } = work({ propose: [proposal()], answer: [new Problem({ status: 422, title: "no such system" })] });
    await made.read(file, {});
    await made.answer({ system: "EPSG:1" });
    expect([made.phase.get().step, made.answers]).toEqual(["proposed", {}]);
    expect((made.problem.get() as Problem).title).toBe("no such system");
  });
  it("keeps its questions when an answer makes nothing readable", async () => {
    const questions = [{ topic: "system", message: "Which?", key: "q", at: {} }] as const;
    const { made } = work({ propose: [proposal({ questions })], answer: [proposal({ state: "refused", features: [], questions: [] })] });
    await made.read(file, {});
    await made.answer({ system: "EPSG:3857" });
    expect(made.phase.get()).toMatchObject({ proposal: { state: "refused", questions } });
  });
  it("keeps its choices when it is told in another language", async () => {
    const { made } = work({ propose: [proposal()], now: [proposal({ format: "español" })] });
    await made.read(file, {});
    made.choices.set(new Map([[1, { as: "leave", name: "Mine", kind: "", row: "" }]]));
    await made.retell();
    expect(made.phase.get()).toMatchObject({ proposal: { format: "español" } });
    expect(made.choices.get().get(1)?.name).toBe("Mine");
  });
  it("once stored makes room for the next file", async () => {
    const { made, imports } = work({ propose: [proposal()] });
    await made.read(file, {});
    expect(await made.store([{ number: 1 }])).toBe("p");
    expect(made.phase.get().step).toBe("file");
    expect(imports.remove).not.toHaveBeenCalled();
  });
  it("refused when stored stays, and says why", async () => {
    const { made } = work({ propose: [proposal()], store: [new Problem({ status: 422, title: "crosses" })] });
    await made.read(file, {});
    expect(await made.store([{ number: 1 }])).toBeNull();
    expect([made.phase.get().step, (made.problem.get() as Problem).title]).toEqual(["proposed", "crosses"]);
  });
});
