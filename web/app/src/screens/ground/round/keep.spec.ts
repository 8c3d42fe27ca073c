import { beforeEach, describe, expect, it } from "vitest";
import { Keep, type Store } from "./keep";
import { begin, type Fix, type Recording, withFix, withoutLast, withPause } from "./recording";

let held: Map<string, string>;
let writes: string[];
let store: Store;
beforeEach(() => {
  held = new Map();
  writes = [];
  store = {
    getItem: (k) => held.get(k) ?? null,
    setItem: (k, v) => {
      writes.push(k);
      held.set(k, v);
    },
    removeItem: (k) => void held.delete(k),
  };
});

const fix = (s: number): Fix => ({ at: [-86.5, 36.1], heightM: 0, takenAtS: 1000 + s, accuracyM: s % 7 === 0 ? null : 5 });
const long = (n: number): Recording => ({ startedAtS: 1000, segments: [Array.from({ length: n }, (_, i) => fix(i))] });

describe("a kept walk", () => {
  it("comes back as it was, pauses and all", () => {
    let r = begin(1000);
    for (let i = 0; i < 450; i++) r = withFix(i === 260 ? withPause(r) : r, fix(i));
    new Keep("f", store).save(r);
    expect(new Keep("f", store).load()).toEqual(r);
    expect(new Keep("f", store).head()).toMatchObject({ startedAtS: 1000, fixes: 450, stored: false });
    expect(new Keep("g", store).load()).toBeNull();
  });
  it("is the same whether saved at each step or once, with steps back across chunks", () => {
    const keep = new Keep("f", store);
    let r = begin(1000);
    for (let i = 0; i < 405; i++) keep.save((r = withFix(r, fix(i))));
    for (let i = 0; i < 10; i++) keep.save((r = withoutLast(r)));
    keep.save((r = withFix(withPause(r), fix(900))));
    expect(new Keep("f", store).load()).toEqual(r);
  });
  it("is gone on with after it was read", () => {
    new Keep("f", store).save(long(450));
    const keep = new Keep("f", store);
    const r = withFix(withPause(keep.load()!), fix(900));
    writes = [];
    keep.save(r);
    expect(new Keep("f", store).load()).toEqual(r);
    expect(writes).toHaveLength(2);
  });
  it("writes the last piece and the head for each fix, not the whole", () => {
    const keep = new Keep("f", store);
    keep.save(long(19_000));
    writes = [];
    keep.save(withFix(long(19_000), fix(19_001)));
    expect(writes).toHaveLength(2);
  });
  it("takes less than 2 MB at its longest", () => {
    new Keep("f", store).save(long(20_000));
    expect([...held.values()].reduce((n, v) => n + v.length, 0)).toBeLessThan(2_000_000);
  });
  it("leaves nothing behind when thrown away", () => {
    const keep = new Keep("f", store);
    keep.save(long(450));
    keep.drop();
    expect(held.size).toBe(0);
  });
  it("gives way to a new one wholly", () => {
    new Keep("f", store).save(long(450));
    const next = withFix(begin(9000), { ...fix(0), takenAtS: 9001 });
    new Keep("f", store).save(next);
    expect(new Keep("f", store).load()).toEqual(next);
    expect(held.size).toBe(2);
  });
  it("says that it was stored", () => {
    const keep = new Keep("f", store);
    keep.save(long(5));
    keep.save(long(5), true);
    expect(new Keep("f", store).head()?.stored).toBe(true);
  });
});

describe("what cannot be read or written", () => {
  it.each(["{", "[]", "null", '{"version":2,"startedAtS":1,"fixes":3,"chunks":1}'])("a head of %s is none", (text) => {
    held.set("caneward.round.f", text);
    expect([new Keep("f", store).head(), new Keep("f", store).load()]).toEqual([null, null]);
  });
  it.each(["x", "{}", '[null,[1,2,"3",4,5]]', undefined])("a broken second piece (%s) leaves what was walked before it", (text) => {
    new Keep("f", store).save(long(450));
    if (text === undefined) held.delete("caneward.round.f.1");
    else held.set("caneward.round.f.1", text);
    expect(new Keep("f", store).load()?.segments[0]).toHaveLength(199);
  });
  it("is told: a full store, a forbidden one, none", () => {
    const full: Store = { ...store, setItem: () => { throw new Error("full"); } };
    expect([new Keep("f", full).save(long(3)), new Keep("f", null).save(long(3)), new Keep("f", store).save(long(3))]).toEqual([false, false, true]);
  });
});
