import { afterEach, describe, expect, it, vi } from "vitest";
import { language } from "../i18n";
import { feature, type Stored } from "../model/kinds";
import { Client, Net, Sessions } from "./client";
import { Problem } from "./problem";

interface Asked {
  readonly path: string;
  readonly method: string;
  readonly headers: Headers;
  readonly body: string;
}

/** A net that answers from a list and notes what it was asked. */
function net(...answers: (Response | Error | "never")[]): { net: Net; asked: Asked[] } {
  const asked: Asked[] = [];
  const fetcher = (path: string, init: RequestInit) => {
    asked.push({ path, method: init.method ?? "GET", headers: new Headers(init.headers), body: typeof init.body === "string" ? init.body : "" });
    const next = answers.shift();
    if (next === "never") return new Promise((_, no) => init.signal?.addEventListener("abort", () => no(init.signal?.reason)));
    return next instanceof Error ? Promise.reject(next) : Promise.resolve(next ?? new Response(null, { status: 500 }));
  };
  return { net: new Net(fetcher as typeof fetch), asked };
}

const json = (body: unknown, status = 200, headers: Record<string, string> = {}) =>
  new Response(JSON.stringify(body), { status, headers: { "Content-Type": "application/json", ...headers } });
const point = { type: "Point", coordinates: [-86.5, 36.1] } as const;
const near = (id: string, more: object = {}) => ({ type: "Feature", id, geometry: point, properties: { kind: "well" }, ...more });
const base: Stored<"surroundings"> = {
  kind: "surroundings",
  id: "a",
  feature: feature<"surroundings">("a", point, { kind: "well" }),
  revision: 3,
  etag: '"3-abc"',
  extra: {},
};

afterEach(() => {
  vi.useRealTimers();
  language.set("en");
});

describe("every request", () => {
  it("names the page's language", async () => {
    language.set("es");
    const { net: n, asked } = net(json({}));
    await n.json("/x");
    expect(asked[0]!.headers.get("Accept-Language")).toBe("es");
  });
  it("turns a refusal into a Problem with its places", async () => {
    const { net: n } = net(json({ title: "T", status: 422, detail: "D", errors: [{ detail: "crosses", ring: 1, position: [1, 2], field: "geometry" }, 7] }, 422));
    const thrown = await n.json("/x").catch((e: unknown) => e);
    expect(thrown).toBeInstanceOf(Problem);
    expect(thrown).toMatchObject({ status: 422, title: "T", detail: "D", errors: [{ detail: "crosses", ring: 1, position: [1, 2], field: "geometry" }] });
  });
  it.each([
    { name: "a page of a proxy", answer: new Response("<html>", { status: 502 }), want: 502 },
    { name: "an answer that is no JSON", answer: new Response("{", { status: 200 }), want: 200 },
    { name: "no answer", answer: new TypeError("failed"), want: 0 },
  ])("says so on $name", async ({ answer, want }) => {
    const { net: n } = net(answer);
    expect(await n.json("/x").catch((e: Problem) => e.status)).toBe(want);
  });
  it("ends after its time limit, and says what to do", async () => {
    const { net: n } = net("never");
    const thrown = (await n.json("/x", { timeoutMs: 5 }).catch((e: unknown) => e)) as Problem;
    expect(thrown.offline).toBe(true);
    expect(thrown.errors[0]?.fix).toBeTruthy();
  });
  it("tells when the sign-in has ended, but not when it is only asked for", async () => {
    const { net: n } = net(json({ title: "T" }, 401), json({ title: "T" }, 401));
    const heard = vi.fn();
    n.onSignedOut = heard;
    expect(await new Sessions(n).whoAmI()).toBeNull();
    expect(heard).not.toHaveBeenCalled();
    await n.json("/farms/demo/x").catch(() => undefined);
    expect(heard).toHaveBeenCalledOnce();
  });
});

describe("a farm's records", () => {
  it("are listed page after page, by the path of the next link alone", async () => {
    const { net: n, asked } = net(
      json({ features: [near("a", { revision: 3, etag: '"3-abc"', at: "2026-06-10T00:00:00Z" })], links: [{ rel: "next", href: "http://inside:1/farms/demo/collections/surroundings/items?after=a" }] }),
      json({ features: [near("b")], links: [] }),
    );
    const got = await new Client(n, "demo").list("surroundings", { bbox: undefined });
    expect(asked.map((a) => a.path)).toEqual(["/farms/demo/collections/surroundings/items?limit=1000", "/farms/demo/collections/surroundings/items?after=a"]);
    expect(got.map((s) => [s.id, s.revision, s.etag])).toEqual([["a", 3, '"3-abc"'], ["b", null, null]]);
    expect(got[0]!.extra["at"]).toBe("2026-06-10T00:00:00Z");
  });
  it.each([
    { name: "creates only where nothing is", of: null, header: "If-None-Match", want: "*" },
    { name: "replaces only what it has seen", of: base, header: "If-Match", want: '"3-abc"' },
  ])("put $name", async ({ of, header, want }) => {
    const { net: n, asked } = net(json(near("a"), 200, { ETag: '"4-def"' }));
    const got = await new Client(n, "demo").put("surroundings", base.feature, of, "moved");
    expect(asked[0]!.headers.get(header)).toBe(want);
    expect(JSON.parse(asked[0]!.body)).toMatchObject({ type: "Feature", id: "a", why: "moved" });
    expect([got.etag, got.revision]).toEqual(['"4-def"', 4]);
  });
  it("closed can be brought back under the closing revision", async () => {
    const { net: n, asked } = net(new Response(null, { status: 204 }), json(near("a"), 200, { ETag: '"5-x"' }));
    const api = new Client(n, "demo");
    const closed = await api.del(base);
    await api.put("surroundings", base.feature, closed);
    expect(asked.map((a) => [a.method, a.headers.get("If-Match")])).toEqual([["DELETE", '"3-abc"'], ["PUT", '"4"']]);
  });
});
