// Scouting without a signal, as the scout does it: on a phone's screen, with the
// line cut, with answers lost after the server stored what was sent, with two
// tabs, two phones, an update, an ended sign-in and a wrong clock. What counts is
// what the server holds at the end: every record once, none lost, in order.
import assert from "node:assert/strict";
import { mkdtemp, readFile, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { after, before, test } from "node:test";
import { fileURLToPath } from "node:url";
import { build } from "vite";
import { brokenRules, openBrowser, openProfile, openWindow, serveDemo } from "./harness.mjs";
import { allSent, password, records, signIn } from "./people.mjs";
import { cut, mend, phone, phoneOn, weakLine } from "./weakline.mjs";

const app = join(dirname(fileURLToPath(import.meta.url)), "..");

let demo;
let browser;
let line;
let folder;
let blocks;

before(async () => {
  demo = await serveDemo();
  browser = await openBrowser();
  line = await weakLine(demo.base);
  folder = await mkdtemp(join(tmpdir(), "caneward-offline-"));
  const { context, page } = await openWindow(browser, demo.base);
  await signIn(page, "grower");
  blocks = (await records(page, "demo", "blocks")).features;
  // Forty plants of a row are looked at one after the other.
  blocks.sort((a, b) => (b.properties.name === "Long Rows") - (a.properties.name === "Long Rows"));
  await context.close();
});
after(async () => {
  await browser?.close();
  await line?.close();
  await demo?.stop();
  if (folder) await rm(folder, { recursive: true, force: true });
});

const aPhone = (name = "scout", more = {}) => phoneOn(line, browser, name, more);

const walkOf = (block) => `/go/demo/walk?block=${block.id}`;

async function openWalk(page, block) {
  await page.goto(walkOf(block));
  await page.getByRole("radio", { name: "Orange rust" }).waitFor();
}

/** Keeps so many finds, plant after plant from where the form stands. */
async function keepFinds(page, count, said) {
  await page.getByRole("radio", { name: "Orange rust" }).check();
  const save = page.getByRole("button", { name: /^Save Orange rust/ });
  for (let i = 0; i < count; i++) {
    const before = await save.innerText();
    await page.getByLabel("In your own words").fill(`${said} ${i + 1}`);
    await page.getByRole("button", { name: "Plant: 1 on", exact: true }).click();
    await save.filter({ hasNotText: before }).waitFor();
    const plant = /row (\d+), plant (\d+)/.exec(await save.innerText())[0];
    await save.click();
    await page.getByText(`On this device: Orange rust, ${plant}.`).waitFor();
  }
}

const waitFor = (page, n) => page.getByRole("button", { name: `${n} waiting to send` }).waitFor();

/** What a batch of finds said, in the order the server took them. */
async function taken(said) {
  const { context, page } = await openWindow(browser, demo.base);
  await signIn(page, "grower");
  const all = [];
  for (let after = 0, more = true; more; ) {
    const got = await page.evaluate(async (n) => (await fetch(`/farms/demo/changes?after=${n}&limit=1000`)).json(), after);
    all.push(...got.changes);
    after = got.changes.at(-1)?.sequence ?? after;
    more = got.more;
  }
  await context.close();
  return all.filter((c) => c.kind === "finds" && c.record?.properties.words?.startsWith(`${said} `)).map((c) => `${c.record.properties.words} r${c.revision}`);
}

const onceEach = (said, n) => Array.from({ length: n }, (_, i) => `${said} ${i + 1} r1`);

// Forty finds with SOAK=1; the day in fieldday.test.mjs has forty in every round.
const half = process.env.SOAK ? 20 : 7;

test("the finds of a visit without a network, over a closed tab and lost answers, arrive once and in order", async () => {
  const { context, page, faults } = await aPhone();
  await openWalk(page, blocks[0]);
  await cut(line, context);
  await page.getByRole("button", { name: "Start a visit" }).click();
  await page.getByText(/^Visit since/).waitFor();
  await keepFinds(page, half, "long");
  await waitFor(page, half + 1);
  await page.close();

  const again = await context.newPage();
  await again.goto(walkOf(blocks[0]));
  await again.getByRole("radio", { name: "Orange rust" }).waitFor();
  await waitFor(again, half + 1);
  await again.getByText(/^Visit since/).waitFor();
  assert.equal(await again.getByRole("listitem").filter({ hasText: "Orange rust, 1 light, row" }).count(), half, "the finds of before are on the list");
  await again.getByRole("button", { name: "Row: 1 on" }).click();
  await keepFinds(again, half, "later");
  await again.getByRole("button", { name: "Close the visit …" }).click();
  await again.getByLabel("The whole block, every row").check();
  await again.getByRole("button", { name: new RegExp(`^Close the visit with ${2 * half} finds`) }).click();
  await again.getByText("Visit closed, on this device.").waitFor();
  await waitFor(again, 2 * half + 2);

  line.seen.length = 0;
  line.lose(3, /^POST .*\/changes$/);
  await mend(line, context);
  await allSentAfter(again);
  assert.deepEqual(await taken("long"), onceEach("long", half));
  assert.deepEqual(await taken("later"), onceEach("later", half));
  const sends = line.seen.filter((s) => s === "POST /farms/demo/changes").length;
  assert.ok(sends >= 4, `${sends} batches were sent: three lost their answers`);
  await again.reload();
  await allSent(again);
  await again.waitForTimeout(1000);
  assert.equal(line.seen.filter((s) => s === "POST /farms/demo/changes").length, sends, "nothing is sent again after a reload");
  assert.deepEqual(faults.filter((f) => !/net::ERR/.test(f)), []);
  await context.close();
});

test("without a network the page opens and is usable; how soon is reported", async (t) => {
  line.down = false;
  const { size, ...more } = phone;
  const context = await openProfile(join(folder, "profile"), line.base, { size, ...more });
  context.setDefaultTimeout(30_000);
  const page = await context.newPage();
  await signIn(page, "scout");
  await page.waitForFunction(() => navigator.serviceWorker.controller !== null);
  await openWalk(page, blocks[0]);
  await cut(line, context);
  await page.close();
  const took = [];
  // The machine does other work too: the aim, a second, is read off the figure.
  for (let i = 0; i < 5; i++) {
    const cold = await context.newPage();
    const devtools = await context.newCDPSession(cold);
    await devtools.send("Emulation.setCPUThrottlingRate", { rate: 4 });
    await cold.addInitScript(() => {
      const look = () => {
        if (!document.querySelector(".action-bar .main") || !document.querySelector("input[type=radio]")) return requestAnimationFrame(look);
        window.usableMs = performance.now();
      };
      look();
    });
    await cold.goto(walkOf(blocks[0]), { waitUntil: "commit" });
    took.push(Math.round(await (await cold.waitForFunction(() => window.usableMs, null, { polling: 250 })).jsonValue()));
    await cold.close();
  }
  t.diagnostic(`usable after ${took.join(", ")} ms, offline, processor slowed four times`);
  assert.ok(took.every((ms) => ms > 0), `${took}`);
  await context.close();
});

/** Presses Send now until the line holds: each failure makes the next try wait longer. */
async function allSentAfter(page) {
  await page.getByRole("button", { name: /waiting to send|All sent/ }).click();
  for (let i = 0; i < 20; i++) {
    if (await page.getByText("Nothing waits on this device.", { exact: false }).isVisible()) break;
    await page.getByRole("button", { name: "Send now" }).click({ timeout: 2000 }).catch(() => undefined);
    await page.waitForTimeout(500);
  }
  await page.getByText("Nothing waits on this device.", { exact: false }).waitFor();
  await page.getByRole("button", { name: "Close", exact: true }).click();
}

test("two tabs send each find once, and each shows what the other kept", async () => {
  const { context, page } = await aPhone();
  await openWalk(page, blocks[0]);
  const other = await context.newPage();
  await openWalk(other, blocks[0]);
  await cut(line, context);
  await keepFinds(page, 3, "tab-a");
  await keepFinds(other, 2, "tab-b");
  await waitFor(page, 5);
  await waitFor(other, 5);
  line.seen.length = 0;
  await mend(line, context);
  await Promise.all([allSent(page), allSent(other)]);
  assert.deepEqual(await taken("tab-a"), onceEach("tab-a", 3));
  assert.deepEqual(await taken("tab-b"), onceEach("tab-b", 2));
  assert.equal(line.seen.filter((s) => s === "POST /farms/demo/changes").length, 1, "one tab sent, in one batch");
  await context.close();
});

test("two phones on one block: both arrive, and each hears of the other", async () => {
  const one = await aPhone();
  const two = await aPhone("adviser");
  await openWalk(one.page, blocks[0]);
  await openWalk(two.page, blocks[0]);
  await cut(line, one.context);
  await cut(line, two.context);
  await keepFinds(one.page, 2, "phone-one");
  await keepFinds(two.page, 2, "phone-two");
  await mend(line, one.context);
  await mend(line, two.context);
  await allSent(one.page);
  await allSent(two.page);
  assert.deepEqual(await taken("phone-one"), onceEach("phone-one", 2));
  assert.deepEqual(await taken("phone-two"), onceEach("phone-two", 2));
  const mine = (page) => page.getByRole("listitem").filter({ hasText: "Orange rust" });
  await one.page.reload();
  await two.page.reload();
  await one.page.getByText("All sent").waitFor();
  const want = await mine(two.page).count();
  await one.page.waitForFunction((n) => [...document.querySelectorAll(".today li")].length === n, want);
  await one.context.close();
  await two.context.close();
});

/** Starts a visit that the server has, then closes it without a network while the grower changes it. */
async function disputedVisit(block, words) {
  const { context, page, faults } = await aPhone();
  await openWalk(page, block);
  await page.getByRole("button", { name: "Start a visit" }).click();
  await page.getByText(/^Visit since/).waitFor();
  await allSent(page);
  await cut(line, context);
  await page.getByRole("button", { name: "Close the visit …" }).click();
  await page.getByLabel("Rows and plants looked at").fill("1");
  await page.getByRole("button", { name: /^Close the visit/ }).last().click();
  await waitFor(page, 1);
  const grower = await openWindow(browser, demo.base);
  await signIn(grower.page, "grower");
  const [open] = (await records(grower.page, "demo", "visits", `&block=${block.id}`)).features.filter((v) => !v.properties.ended_at);
  const status = await grower.page.evaluate(
    async ([visit, text]) => {
      const { id, geometry, properties, etag } = visit;
      const body = JSON.stringify({ type: "Feature", id, geometry, properties: { ...properties, words: text } });
      return (await fetch(`/farms/demo/collections/visits/items/${id}`, { method: "PUT", body, headers: { "Content-Type": "application/geo+json", "If-Match": etag } })).status;
    },
    [open, words],
  );
  assert.equal(status, 200);
  await mend(line, context);
  await page.getByRole("button", { name: "1 waiting to send" }).click();
  await page.getByText("Somebody else changed this record first.", { exact: false }).waitFor();
  await page.getByRole("button", { name: "Compare the two" }).click();
  await page.getByRole("cell", { name: words }).waitFor();
  const read = async () => (await records(grower.page, "demo", "visits", `&block=${block.id}`)).features.find((v) => v.id === open.id);
  const close = async () => {
    await context.close();
    await grower.context.close();
  };
  return { page, read, close, faults };
}

test("a record that somebody else changed first is kept twice until the scout puts hers on top", async () => {
  const { page, read, close } = await disputedVisit(blocks[1], "gate was open");
  assert.deepEqual(await brokenRules(page), []);
  await page.getByRole("button", { name: "Put mine on top" }).click();
  await page.getByText("Nothing waits on this device.", { exact: false }).waitFor();
  const now = await read();
  assert.equal(now.revision, 3);
  assert.ok(now.properties.ended_at, "hers stands");
  assert.equal(now.properties.words, undefined);
  await close();
});

test("or takes what is on the server", async () => {
  const { page, read, close } = await disputedVisit(blocks[2], "wet canes");
  await page.getByRole("button", { name: "Take what is on the server" }).click();
  await page.getByText("Nothing waits on this device.", { exact: false }).waitFor();
  const now = await read();
  assert.deepEqual([now.revision, now.properties.words, now.properties.ended_at], [2, "wet canes", undefined]);
  await page.getByRole("button", { name: "Close", exact: true }).click();
  await page.getByText(/^Visit since/).waitFor();
  await close();
});

test("a sign-in that ended keeps what waits; signed in again, it is sent", async () => {
  const { context, page } = await aPhone();
  await openWalk(page, blocks[0]);
  await cut(line, context);
  await keepFinds(page, 2, "ended");
  await context.clearCookies();
  await mend(line, context);
  await page.getByRole("heading", { name: "Who is working?" }).waitFor();
  await page.getByRole("button", { name: "Go on without signing in" }).click();
  await waitFor(page, 2);
  await page.getByRole("button", { name: "2 waiting to send" }).click();
  await page.getByRole("button", { name: "Send now" }).click();
  await page.getByLabel("Name", { exact: true }).fill("scout");
  await page.getByLabel("Password", { exact: true }).fill(password);
  await page.getByRole("button", { name: "Sign in", exact: true }).click();
  await page.getByText("Nothing waits on this device.", { exact: false }).waitFor();
  assert.deepEqual(await taken("ended"), onceEach("ended", 2));
  await context.close();
});

test("signing out says what waits; another person neither sees nor sends it; the scout does", async () => {
  const { context, page } = await aPhone();
  await openWalk(page, blocks[0]);
  await cut(line, context);
  await keepFinds(page, 2, "left");
  await page.getByRole("button", { name: "Settings" }).click();
  await page.getByRole("button", { name: "Sign out" }).click();
  await page.getByText("2 entries wait to be sent.", { exact: false }).waitFor();
  assert.deepEqual(await brokenRules(page), []);
  await page.getByRole("button", { name: "Sign out all the same" }).click();
  await page.getByRole("heading", { name: "Who is working?" }).waitFor();
  await mend(line, context);
  await signIn(page, "adviser");
  await allSent(page);
  assert.deepEqual(await taken("left"), []);
  await page.getByRole("button", { name: "Settings" }).click();
  await page.getByRole("button", { name: "Sign out" }).click();
  await page.getByRole("heading", { name: "Who is working?" }).waitFor();
  await signIn(page, "scout");
  await allSent(page);
  assert.deepEqual(await taken("left"), onceEach("left", 2));
  await context.close();
});

test("a clock two days ahead changes neither the order nor the server's time of receipt", async () => {
  const { context, page } = await aPhone();
  await openWalk(page, blocks[0]);
  await cut(line, context);
  await keepFinds(page, 2, "clock");
  await page.clock.setSystemTime(Date.now() + 2 * 86_400_000);
  await page.getByLabel("In your own words").fill("clock 3");
  await page.getByRole("button", { name: "Plant: 1 on", exact: true }).click();
  await page.getByRole("button", { name: /^Save Orange rust/ }).click();
  await waitFor(page, 3);
  await mend(line, context);
  await allSent(page);
  assert.deepEqual(await taken("clock"), onceEach("clock", 3));
  const all = (await records(page, "demo", "finds")).features.filter((f) => f.properties.words?.startsWith("clock "));
  for (const f of all) {
    assert.ok(Math.abs(Date.parse(f.at) - Date.now()) < 60_000, `received ${f.at}`);
    // Two days are 172,800 s; a loaded machine answers late.
    assert.ok(Math.abs(f.properties.sent_clock_ahead_s - 172_800) < 60, `${f.properties.words}: ${f.properties.sent_clock_ahead_s} s`);
  }
  const found = all.map((f) => Math.round((Date.parse(f.properties.found_at) - Date.parse(f.at)) / 86_400_000) + 0);
  assert.deepEqual(found, [0, 0, 2], "times stand as the phone told them");
  await page.getByText("The clock of this device is 2 days ahead of the server's.", { exact: false }).waitFor();
  await context.close();
});

test("unsent work goes to another device as a file, photos too, and is stored once", async () => {
  const one = await aPhone();
  await openWalk(one.page, blocks[0]);
  await cut(line, one.context);
  await keepFinds(one.page, 2, "file");
  await one.page.getByRole("button", { name: "2 waiting to send" }).click();
  const [download] = await Promise.all([one.page.waitForEvent("download"), one.page.getByRole("button", { name: "Keep as a file" }).click()]);
  const path = join(folder, "unsent.json");
  await download.saveAs(path);
  assert.equal(JSON.parse(await readFile(path, "utf8")).changes.length, 2);
  await mend(line, one.context);

  const two = await aPhone();
  await two.page.getByRole("button", { name: "All sent" }).click();
  await two.page.getByLabel("Take in a file").setInputFiles(path);
  await two.page.getByText("2 entries taken in.", { exact: false }).waitFor();
  await two.page.getByText("Nothing waits on this device.", { exact: false }).waitFor();
  await writeFile(join(folder, "other.json"), "{}");
  await two.page.getByLabel("Take in a file").setInputFiles(join(folder, "other.json"));
  await two.page.getByText("This is no file of unsent work.").first().waitFor();
  await one.page.getByText("Nothing waits on this device.", { exact: false }).waitFor();
  assert.deepEqual(await taken("file"), onceEach("file", 2));
  await one.context.close();
  await two.context.close();
});

test("a new version waits for what is half entered, keeps what waits, and leaves the other tab its own parts", async () => {
  const second = join(folder, "second");
  const mark = {
    name: "second-build",
    transform: (code, id) => (id.endsWith("i18n/offline.ts") ? code.replace('"All sent"', '"All sent, second build"').replace("waiting to send", "waiting to send") : undefined),
  };
  await build({ root: app, logLevel: "error", plugins: [mark], build: { outDir: second, emptyOutDir: true } });
  const { context, page, faults } = await aPhone();
  await openWalk(page, blocks[0]);
  const other = await context.newPage();
  await openWalk(other, blocks[0]);
  await other.getByLabel("In your own words").fill("half a sentence");

  line.build = second;
  await page.evaluate(async () => (await navigator.serviceWorker.getRegistration()).update());
  await page.getByText("A new version is ready.").waitFor();
  await cut(line, context);
  await page.getByRole("radio", { name: "Orange rust" }).check();
  await page.getByLabel("In your own words").fill("update 1");
  const use = page.getByRole("button", { name: "Use it now" });
  assert.equal(await use.isDisabled(), true, "something is half entered");
  await keepFinds(page, 1, "update");
  await waitFor(page, 1);
  assert.equal(await use.isDisabled(), false);
  await use.click();
  await page.waitForEvent("load");
  await page.getByRole("radio", { name: "Orange rust" }).waitFor();
  await waitFor(page, 1);

  await other.getByText("A new version is in use in another tab.").waitFor();
  assert.equal(await other.getByLabel("In your own words").inputValue(), "half a sentence");
  // A part of the first build that was never fetched: its own cache has it.
  await other.getByRole("navigation").getByRole("link", { name: "Papers" }).click();
  await other.getByRole("heading", { level: 1 }).waitFor();
  assert.equal(await other.getByText("second build").count(), 0);

  await mend(line, context);
  await page.getByRole("button", { name: "All sent, second build" }).waitFor();
  assert.deepEqual(await taken("update"), onceEach("update", 1));
  line.build = null;
  assert.deepEqual(faults.filter((f) => !/net::ERR/.test(f)), []);
  await context.close();
});
