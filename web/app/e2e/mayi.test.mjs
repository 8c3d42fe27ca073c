// May I? on the board and the map, an application carried out on a phone, what its
// record still lacks and by when, its papers, and a correction that leaves the
// old one as it was.
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { after, before, test } from "node:test";
import { brokenRules, languagesOn, openBrowser, openWindow, serveDemo, sizes, tightPlaces } from "./harness.mjs";
import { allSent, records, signIn, speak } from "./people.mjs";

let demo;
let browser;
const windows = [];
const draft = "019b3333-0000-7000-8000-000000000001";

before(async () => {
  demo = await serveDemo();
  browser = await openBrowser();
});
after(async () => {
  await browser?.close();
  await demo?.stop();
});

const touch = { size: sizes.phone, hasTouch: true, isMobile: true };
const shots = process.env.MAYI_SHOTS;

async function person(name, options) {
  const opened = await openWindow(browser, demo.base, { acceptDownloads: true, ...options });
  windows.push({ name, faults: opened.faults });
  await signIn(opened.page, name);
  return opened.page;
}

async function call(page, method, path, body) {
  return page.evaluate(
    async ([method, path, body]) => {
      const answer = await fetch(path, { method, headers: { "Content-Type": path.includes("/items/") ? "application/geo+json" : "application/json" }, body: body && JSON.stringify(body) });
      const text = await answer.text();
      return { status: answer.status, body: text && text.startsWith("{") ? JSON.parse(text) : text };
    },
    [method, path, body],
  );
}

test("the board says from when, and why, at a chosen time", async () => {
  const page = await person("applicator");
  await page.goto("/go/demo/pass");
  await page.getByRole("heading", { name: "What may I do on this ground today?" }).waitFor();
  // Demo Shield 80DG ended on Gate Block on 2 July 2026 at 07:50: 48 h and 3 days.
  await page.locator(".mayi input[type=datetime-local]").fill("2026-07-02T10:00");
  const line = page.locator(".mayi-board > li").filter({ has: page.getByRole("heading", { name: "Gate Block" }) });
  await line.getByText(/Stop, from .*4.*2026.*7:50/).first().waitFor();
  await line.getByText(/Stop, from .*5.*2026/).first().waitFor();
  await line.getByText("Why, Gate Block").click();
  await line.getByText(/48 h from the end at 2 Jul 2026 07:50 EDT; it ends 4 Jul 2026 07:50 EDT/).first().waitFor();
  await line.getByText(/40 CFR 170.407/).first().waitFor();
  if (shots) await page.screenshot({ path: `${shots}/board-laptop.png` });
  await page.context().close();
});

test("a draft is carried out on a phone; an end before the start is refused at its field", async () => {
  const page = await person("applicator", touch);
  const products = (await records(page, "demo", "products")).features;
  const blocks = (await records(page, "demo", "blocks")).features;
  const pyre = products.find((p) => p.properties.name === "Demo Pyre 2EC");
  const hill = blocks.find((b) => b.properties.name === "Hill Block");
  const job = { blocks: [hill.id], pattern: "broadcast", products: [{ product: pyre.id, rate: { value: 6.4, unit: "fl_oz", per: "acre" } }], carrier: { value: 50, unit: "gal", per: "acre" }, tank: { value: 50, unit: "gal" }, setbacks: [] };
  const worked = await call(page, "POST", "/farms/demo/treated-area", job);
  assert.equal(worked.status, 200);
  const w = worked.body;
  const feature = { type: "Feature", id: draft, geometry: w.treated, properties: { ...job, state: "draft", areas: w.areas, totals: w.totals, carrier_total: w.carrier, tanks: w.tanks } };
  assert.equal((await call(page, "PUT", `/farms/demo/collections/passes/items/${draft}`, feature)).status, 201);
  await page.goto(`/go/demo/pass?view=pass:${draft}`);
  await page.getByRole("button", { name: "Say it was applied" }).or(page.getByRole("button", { name: /applied/i })).first().click();
  await page.getByLabel("Started", { exact: false }).first().fill("2026-11-24T08:00");
  await page.getByLabel("Ended", { exact: false }).first().fill("2026-11-24T07:00");
  await page.getByLabel("Equipment").fill("air-blast sprayer");
  await page.locator(".action-bar button").click();
  const end = page.getByLabel("Ended", { exact: false }).first();
  assert.equal(await end.getAttribute("aria-invalid"), "true");
  await end.fill("2026-11-24T09:00");
  if (shots) await page.screenshot({ path: `${shots}/carry-out-phone.png` });
  await page.locator(".action-bar button").click();
  await page.getByRole("heading", { name: "The record of this pass" }).waitFor();
  await allSent(page);
  await page.getByText("still missing: certification number", { exact: false }).waitFor();
  await page.getByText(/Entry from/).waitFor();
  await page.getByRole("button", { name: "The signs are up" }).click();
  await page.getByText("Signs up since", { exact: false }).waitFor();
  if (shots) await page.screenshot({ path: `${shots}/record-phone.png` });
  await page.context().close();
});

test("the record that lacks an element is named before its deadline, on paper too; a correction leaves it", async () => {
  const page = await person("grower");
  await page.goto("/go/demo/papers?view=due");
  await page.getByRole("heading", { level: 1, name: "Which records are due?" }).waitFor();
  await page.getByText("still missing: certification number; by", { exact: false }).waitFor();
  if (shots) await page.screenshot({ path: `${shots}/due-laptop.png` });
  await page.getByRole("checkbox", { name: "Washington" }).check();
  await page.getByRole("button", { name: "Keep the choice" }).click();
  await page.getByText("kept 7 years", { exact: false }).first().waitFor();
  const law = await call(page, "GET", "/farms/demo/law");
  assert.deepEqual(law.body.jurisdictions, ["us-federal", "us-worker", "us-wa"]);
  await page.getByText("wind direction, wind speed; was due", { exact: false }).first().waitFor();

  await page.goto(`/go/demo/pass?view=pass:${draft}`);
  const [download] = await Promise.all([page.waitForEvent("download"), page.getByRole("button", { name: "Application record (PDF)" }).click()]);
  assert.equal((await readFile(await download.path())).subarray(0, 5).toString(), "%PDF-");
  const stored = await call(page, "GET", `/farms/demo/collections/passes/items/${draft}`);
  const edited = { ...stored.body, properties: { ...stored.body.properties, totals: [] } };
  const refused = await page.evaluate(
    async ([path, body, etag]) => (await fetch(path, { method: "PUT", headers: { "Content-Type": "application/geo+json", "If-Match": etag }, body: JSON.stringify(body) })).status,
    [`/farms/demo/collections/passes/items/${draft}`, edited, stored.body.etag],
  );
  assert.equal(refused, 422);
  await page.getByRole("button", { name: "Record a correction" }).click();
  await page.getByText("This corrects an earlier record", { exact: false }).waitFor();
  await allSent(page);
  const all = (await records(page, "demo", "passes")).features;
  assert.equal(all.find((p) => p.properties.corrects === draft).properties.state, "draft");
  assert.equal(all.find((p) => p.id === draft).properties.state, "applied");
  await page.context().close();
});

test("these screens keep WCAG 2.2 A and AA and 44 px, in both languages, on both sizes", async () => {
  const broken = [];
  for (const [size, options] of [["laptop", {}], ["phone", touch]]) {
    const page = await person("grower", options);
    const look = async (where) => {
      broken.push(...(await brokenRules(page)).map((r) => `${where}: ${r}`));
      broken.push(...(await tightPlaces(page, ".mayi button, .mayi select, .mayi summary, .mayi input:not([type=radio], [type=checkbox]), .mayi .check, .mayi-duties a, fieldset .check, .buttons button", where)));
    };
    for (const language of languagesOn(size === "phone")) {
      await speak(page, language);
      for (const address of ["/go/demo/pass", `/go/demo/pass?view=pass:${draft}`, "/go/demo/papers?view=due"]) {
        await page.goto(address);
        await page.getByRole("heading", { level: 1 }).first().waitFor();
        await page.waitForLoadState("networkidle");
        await look(`${size} ${language} ${address}`);
        if (shots) await page.screenshot({ path: `${shots}/${size}-${language}-${address.replace(/\W+/g, "-")}.png` });
      }
    }
    await page.context().close();
  }
  assert.deepEqual(broken, []);
});

test("no page reported a fault", () => {
  assert.deepEqual(windows.filter((w) => w.faults.length > 0), []);
});
