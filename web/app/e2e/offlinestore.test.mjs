// What the device keeps, by its own modules in a real browser with a real
// database: photos beside records, a full device, edits before the first answer,
// and random histories with lost answers against a plain model.
import assert from "node:assert/strict";
import { dirname, join } from "node:path";
import { after, before, test } from "node:test";
import { fileURLToPath } from "node:url";
import { createServer } from "vite";
import { openBrowser, openWindow, serveDemo } from "./harness.mjs";

const app = join(dirname(fileURLToPath(import.meta.url)), "..");

let demo;
let browser;
let vite;
let base;

before(async () => {
  demo = await serveDemo();
  browser = await openBrowser();
  vite = await createServer({
    root: app,
    logLevel: "error",
    server: { host: "127.0.0.1", port: 0, hmr: false, ws: false, proxy: { "^/(farms|sessions|base|healthz)": demo.base } },
  });
  await vite.listen();
  base = `http://127.0.0.1:${vite.httpServer.address().port}`;
});
after(async () => {
  await browser?.close();
  await vite?.close();
  await demo?.stop();
});

/**
 * An empty page of the origin that has a device for the scout: `bench.source`
 * keeps, `bench.line` says what the network does with requests.
 */
async function bench(roomBytes) {
  const { context, page, faults } = await openWindow(browser, base);
  await page.goto("/mark.svg");
  if (roomBytes) {
    // Before the database is opened: the browser remembers for a while how much room there was.
    const devtools = await context.newCDPSession(page);
    await devtools.send("Storage.overrideQuotaForOrigin", { origin: base, quotaSize: roomBytes });
  }
  await page.evaluate(async () => {
    const [{ Client, Net, Sessions }, { Device }, { uuid7 }] = await Promise.all([import("/src/api/client.ts"), import("/src/offline/device.ts"), import("/src/model/uuid7.ts")]);
    const line = { down: false, lose: () => false };
    const fetcher = async (...args) => {
      if (line.down) throw new TypeError("no network");
      const answer = await fetch(...args);
      if (line.lose(args)) throw new TypeError("the answer was lost");
      return answer;
    };
    const net = new Net(fetcher);
    const sessions = new Sessions(net);
    await sessions.signIn("scout", "demo-farm");
    const who = await sessions.whoAmI();
    const device = await Device.open(net, who.person);
    const client = new Client(net, "demo");
    const source = device.source(client);
    const block = (await source.list("blocks", false))[0];
    const find = (id, words, more = {}) => ({
      type: "Feature",
      id,
      geometry: { type: "Point", coordinates: block.feature.geometry.coordinates[0][0] },
      properties: { block: block.id, cause: "other", state: "suspected", severity: 1, found_at: new Date().toISOString(), words, ...more },
    });
    const empty = async () => {
      for (let i = 0; i < 200 && (await device.kept.store.count()) > 0; i++) {
        device.kept.sync.wake();
        await new Promise((done) => setTimeout(done, 100));
      }
      return device.kept.store.entries();
    };
    const picture = async (px) => {
      const canvas = new OffscreenCanvas(px, px);
      const pen = canvas.getContext("2d");
      const noise = pen.createImageData(px, px);
      for (let at = 0; at < noise.data.length; at += 65536) crypto.getRandomValues(noise.data.subarray(at, Math.min(at + 65536, noise.data.length)));
      pen.putImageData(noise, 0, 0);
      return canvas.convertToBlob({ type: "image/jpeg", quality: 0.8 });
    };
    // Nothing waits: the room for records is held back first.
    await device.kept.store.holdBack();
    window.bench = { line, net, client, device, source, find, empty, uuid7, picture };
  });
  return { context, page, faults };
}

test("six photos kept with their finds while there is no network arrive whole", async () => {
  const { context, page, faults } = await bench();
  const got = await page.evaluate(async () => {
    const { line, client, device, source, find, empty, uuid7, picture } = window.bench;
    line.down = true;
    const kept = [];
    for (let i = 0; i < 6; i++) {
      const [id, photo, blob] = [uuid7(), uuid7(), await picture(300)];
      await source.keep("finds", find(id, `photo ${i}`, { photos: [photo] }), null, { photos: [{ id: photo, blob }] });
      kept.push({ id, photo, bytes: Array.from(new Uint8Array(await blob.arrayBuffer())).join() });
    }
    const waited = (await device.kept.store.entries()).map((e) => e.op);
    line.down = false;
    const left = await empty();
    const same = [];
    for (const k of kept) {
      const answer = await fetch(client.photoPath(k.photo));
      same.push(answer.ok && Array.from(new Uint8Array(await answer.arrayBuffer())).join() === k.bytes);
    }
    const here = await Promise.all(kept.map((k) => device.kept.store.photo(k.photo)));
    return { waited, left: left.map((e) => [e.op, e.held]), same, here: here.filter(Boolean).length };
  });
  assert.deepEqual(got.waited, Array.from({ length: 6 }, () => ["photo", "put"]).flat());
  assert.deepEqual(got.left, []);
  assert.deepEqual(got.same, [true, true, true, true, true, true]);
  assert.equal(got.here, 0, "what is sent leaves the device");
  assert.deepEqual(faults, []);
  await context.close();
});

test("a full device keeps the find and leaves the photo, and says so when not even the find fits", async () => {
  const { context, page, faults } = await bench(9_000_000);
  const got = await page.evaluate(async () => {
    const { line, device, source, find, uuid7, picture } = window.bench;
    line.down = true;
    const blob = await picture(1200);
    const kept = [];
    for (let i = 0; i < 20; i++) {
      const photo = uuid7();
      const { record, left } = await source.keep("finds", find(uuid7(), `no room ${i}`, { photos: [photo] }), null, { photos: [{ id: photo, blob }] });
      kept.push({ words: record.feature.properties.words, whole: left.length === 0 && record.feature.properties.photos?.[0] === photo, without: left[0] === photo && !("photos" in record.feature.properties) });
    }
    const waiting = (await device.kept.store.entries()).map((e) => e.op);
    // One after the other, until the device takes no record any more. Random
    // words: the browser packs what it stores.
    const noise = () => {
      const raw = crypto.getRandomValues(new Uint8Array(48_000));
      return btoa(String.fromCharCode(...raw));
    };
    let [said, more] = [null, 0];
    for (; more < 200 && !said; more++) said = await source.keep("finds", find(uuid7(), noise()), null, {}).then(() => null, (p) => [p.name, p.title]);
    const after = (await device.kept.store.entries()).filter((e) => e.record?.properties.words.startsWith("no room")).length;
    return { bytes: blob.size, kept, waiting, said, after, more };
  });
  assert.ok(got.bytes > 300_000, `the photo is ${got.bytes} bytes`);
  assert.equal(got.kept[0].whole, true, "there was room for the first");
  assert.equal(got.kept.at(-1).without, true, "and none for the last");
  assert.ok(got.kept.every((k) => k.whole || k.without));
  assert.equal(got.waiting.filter((op) => op === "put").length, 20, "every find is kept");
  assert.deepEqual(got.said, ["Problem", "This device has no room left: the record was not kept."]);
  assert.ok(got.more > 10, `${got.more} records fit where no photo did`);
  assert.equal(got.after, 20, "what was kept stays");
  assert.deepEqual(faults, []);
  await context.close();
});

test("what is edited before the server answered keeps its order, and what was never sent leaves no trace", async () => {
  const { context, page } = await bench();
  const got = await page.evaluate(async () => {
    const { line, client, device, source, find, empty, uuid7 } = window.bench;
    const [id, other, gone] = [uuid7(), uuid7(), uuid7()];
    // The first is stored, and its answer lost.
    line.lose = ([path]) => path.endsWith("/changes");
    const first = (await source.keep("finds", find(id, "first"), null, {})).record;
    await new Promise((done) => setTimeout(done, 1500));
    line.lose = () => false;
    line.down = true;
    const second = (await source.keep("finds", find(id, "second"), first, {})).record;
    await source.keep("finds", find(other, "between"), null, {});
    await source.keep("finds", find(id, "third"), second, {});
    const never = (await source.keep("finds", find(gone, "never sent"), null, {})).record;
    await source.takeBack(never);
    const waiting = (await device.kept.store.entries()).map((e) => [e.record?.properties.words, e.base]);
    line.down = false;
    const left = await empty();
    const revisions = (await client.revisions("finds", id)).map((r) => r.record.properties.words);
    const missing = await client.get("finds", gone).then(() => false, (p) => p.status === 404);
    return { waiting, left: left.length, revisions, missing };
  });
  assert.deepEqual(got.waiting, [["first", null], ["second", 1], ["between", null], ["third", 2]]);
  assert.deepEqual([got.left, got.revisions, got.missing], [0, ["first", "second", "third"], true]);
  await context.close();
});

test("what the server refuses stays with its words, can be put right, and holds up nothing else", async () => {
  const { context, page } = await bench();
  const got = await page.evaluate(async () => {
    const { client, device, source, find, empty, uuid7 } = window.bench;
    const [bad, good] = [uuid7(), uuid7()];
    const refused = (await source.keep("finds", find(bad, "refused", { severity: 9 }), null, {})).record;
    await source.keep("finds", find(good, "good"), null, {});
    for (let i = 0; i < 100 && !(await device.kept.store.entries()).some((e) => e.held); i++) await new Promise((done) => setTimeout(done, 100));
    const held = (await device.kept.store.entries()).map((e) => [e.record.properties.words, e.held?.sort, e.held?.status, e.held?.problem?.errors?.[0]?.field]);
    const stored = (await client.get("finds", good)).feature.properties.words;
    await source.keep("finds", find(bad, "put right"), refused, {});
    const left = await empty();
    return { held, stored, left: left.length, now: (await client.get("finds", bad)).feature.properties.words };
  });
  assert.deepEqual(got.held.map((h) => h.slice(0, 3)), [["refused", "refused", 422]]);
  assert.match(got.held[0][3] ?? "", /severity/);
  assert.deepEqual([got.stored, got.left, got.now], ["good", 0, "put right"]);
  await context.close();
});

test("three hundred random acts with lost answers and cut lines end as a plain model says", async () => {
  const { context, page } = await bench();
  const seed = 20_261_125;
  const got = await page.evaluate(async (first) => {
    const { line, client, device, source, find, empty, uuid7 } = window.bench;
    let state = first;
    // A small generator with a fixed seed (Park and Miller 1988).
    const random = () => (state = (state * 48_271) % 2_147_483_647) / 2_147_483_647;
    const pick = (list) => list[Math.floor(random() * list.length)];
    const model = new Map();
    const handles = new Map();
    for (let act = 0; act < 300; act++) {
      const roll = random();
      const known = [...model.keys()].filter((id) => model.get(id) !== null);
      if (roll < 0.45 || known.length === 0) {
        const id = uuid7();
        handles.set(id, (await source.keep("finds", find(id, `act ${act}`), null, {})).record);
        model.set(id, `act ${act}`);
      } else if (roll < 0.75) {
        const id = pick(known);
        handles.set(id, (await source.keep("finds", find(id, `act ${act}`), handles.get(id), {})).record);
        model.set(id, `act ${act}`);
      } else if (roll < 0.85) {
        const id = pick(known);
        await source.takeBack(handles.get(id));
        model.set(id, null);
      } else if (roll < 0.9) line.down = !line.down;
      else if (roll < 0.95) line.lose = ([path]) => path.endsWith("/changes") && random() < 0.5;
      else {
        device.kept.sync.wake();
        await new Promise((done) => setTimeout(done, random() * 60));
      }
    }
    line.down = false;
    line.lose = () => false;
    const left = (await empty()).map((e) => [e.op, e.held]);
    const differs = [];
    const told = new Map((await client.list("finds")).map((r) => [r.id, r.feature.properties.words]));
    for (const [id, words] of model) if ((told.get(id) ?? null) !== words) differs.push([id, words, told.get(id) ?? null]);
    const here = new Map((await source.list("finds", true)).map((r) => [r.id, r.feature.properties.words]));
    for (const [id, words] of told) if (here.get(id) !== words) differs.push(["here", id, words, here.get(id) ?? null]);
    return { left, differs, records: model.size, same: here.size === told.size };
  }, seed);
  assert.ok(got.records > 50, `${got.records} records`);
  assert.deepEqual([got.left, got.differs, got.same], [[], [], true], `seed ${seed}`);
  await context.close();
});
