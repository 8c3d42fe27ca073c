// From a suspicion to a proof: a scout takes a sample of three finds, prints its
// slip and is not let to confirm; the adviser enters the result and all three
// move with the laboratory's words. Then the lists of spring, the counting
// programmes, and a sampling walk from its seed to a phone.
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { after, before, test } from "node:test";
import { englishLeft, englishOnly } from "./catalogue.mjs";
import { brokenRules, languagesOn, openBrowser, openWindow, serveDemo, sizes, tightPlaces } from "./harness.mjs";
import { allSent, records, signIn, speak } from "./people.mjs";

let demo;
let browser;
let block;
const windows = [];

before(async () => {
  demo = await serveDemo();
  browser = await openBrowser();
});
after(async () => {
  await browser?.close();
  await demo?.stop();
});

const touch = { size: sizes.phone, hasTouch: true, isMobile: true };

async function person(name, options) {
  const opened = await openWindow(browser, demo.base, { acceptDownloads: true, ...options });
  windows.push({ name, faults: opened.faults });
  await signIn(opened.page, name);
  block ??= (await records(opened.page, "demo", "blocks")).features.find((f) => f.properties.name === "Gate Block");
  return opened.page;
}

const main = (page) => page.locator(".action-bar button");
const at = (place, view) => `/go/demo/${place}?block=${block.id}&view=${view}`;

async function taken(page, button) {
  const [download] = await Promise.all([page.waitForEvent("download"), page.getByRole("button", { name: button }).click()]);
  return readFile(await download.path());
}

async function put(page, kind, feature, match = { "If-None-Match": "*" }) {
  return page.evaluate(
    async ([path, body, headers]) => {
      const answer = await fetch(path, { method: "PUT", headers: { "Content-Type": "application/geo+json", ...headers }, body: JSON.stringify(body) });
      return { status: answer.status, text: answer.ok ? "" : await answer.text() };
    },
    [`/farms/demo/collections/${kind}/items/${feature.id}`, feature, match],
  );
}

const find = (n, words, cause = "orange-rust", more = {}) => ({
  type: "Feature",
  id: `019b2222-0000-7000-8000-00000000000${n}`,
  geometry: null,
  properties: { block: block.id, row: 2, plant: 10 + n, cause, state: "suspected", severity: 2, words, found_at: "2026-10-05T09:30:00-04:00", ...more },
});
const finds = (page) => records(page, "demo", "finds", `&block=${block.id}`).then((r) => r.features.filter((f) => f.id.startsWith("019b2222")));

test("a scout takes a sample of three finds, prints the slip, and is not let to confirm", async () => {
  const page = await person("scout", touch);
  for (const [n, words] of [[1, "weak shoots, orange below"], [2, "cupped leaves"], [3, "spindly"]]) assert.equal((await put(page, "finds", find(n, words))).status, 201);
  await page.goto(at("disease", "sample:new"));
  await page.getByRole("heading", { level: 1, name: "Which finds go into this sample?" }).waitFor();
  for (const plant of [11, 12, 13]) await page.getByRole("checkbox", { name: `Row 2, plant ${plant}: Orange rust, suspected` }).check();
  await page.getByText("“cupped leaves”").waitFor();
  await page.getByText("Paper, not plastic", { exact: false }).waitFor();
  await main(page).click();
  await page.getByText("Name the laboratory.").waitFor();
  await page.getByLabel("Laboratory", { exact: true }).fill("County plant clinic");
  await page.getByLabel("Sent on", { exact: false }).fill("2026-10-06");
  await page.getByLabel("Number it got at the laboratory").fill("26-1005");
  await main(page).filter({ hasText: "Save the sample of 3 finds" }).click();
  await page.getByText("Sample of 3 finds saved.").waitFor();
  await page.getByRole("heading", { level: 1, name: /County plant clinic, 26-1005/ }).waitFor();
  for (const f of await finds(page)) {
    assert.equal(f.properties.state, "sampled");
    assert.equal(f.why, "sample for County plant clinic");
  }
  const slip = await taken(page, "Print the slip (PDF)");
  assert.equal(slip.subarray(0, 5).toString("latin1"), "%PDF-");
  assert.ok(slip.length > 5000, `${slip.length} bytes`);

  await page.getByRole("button", { name: "Row 2, plant 11" }).click();
  const beside = page.locator("dl.said-beside");
  await beside.waitFor();
  assert.match(await beside.innerText(), /Orange rust[\s\S]*organism not told yet[\s\S]*weak shoots, orange below/);
  assert.equal(await page.locator(".steps [aria-current]").innerText(), "sample sent");
  await page.getByText("An adviser confirms or refutes a find", { exact: false }).waitFor();
  assert.equal(await page.getByRole("button", { name: "Confirm this find" }).count(), 0);
  // Without the page's buttons the server still says no.
  const [first] = await finds(page);
  const refused = await put(page, "finds", { type: "Feature", id: first.id, geometry: null, properties: { ...first.properties, state: "confirmed" } }, { "If-Match": "*" });
  assert.equal(refused.status, 422);
  assert.match(refused.text, /"field":\s*"state"/);
  await page.context().close();
});

test("the adviser enters the result: what two diseases share is asked, and all three finds move with the reason", async () => {
  const page = await person("adviser");
  await page.goto("/go/demo/disease?view=samples");
  await page.getByRole("button", { name: /^Open the sample .*26-1005/ }).click();
  await main(page).click();
  await page.getByText("Say whether it confirms, refutes or tells nothing.").waitFor();
  await page.getByLabel("What the result does").selectOption({ label: "confirms" });
  await page.getByLabel("The laboratory's words").fill("leaf rust, uredinia on canes");
  // A leaf rust may be three: the page asks, and says what tells them apart.
  const which = page.locator(".which-name");
  await which.waitFor();
  assert.match(await which.innerText(), /more than one thing[\s\S]*Lemon-yellow pustules/);
  await which.getByRole("button", { name: "It is cane and leaf rust" }).click();
  assert.equal(await page.getByLabel("Disease it names").inputValue(), "cane-leaf-rust");
  await page.getByLabel("Organism").selectOption({ label: "Kuehneola uredinis" });
  await page.getByLabel("Result of").fill("2026-10-12");
  await page.getByLabel("What you add to the reason", { exact: false }).fill("by telephone");
  await main(page).filter({ hasText: "Save the result of 3 finds" }).click();
  await page.getByText("Result saved; 3 finds moved.").waitFor();
  const moved = await finds(page);
  assert.equal(moved.length, 3);
  for (const f of moved) {
    assert.deepEqual([f.properties.state, f.properties.cause, f.properties.organism], ["confirmed", "cane-leaf-rust", "Kuehneola uredinis"]);
    assert.equal(f.why, "by telephone. Laboratory result 26-1005 of 2026-10-12: leaf rust, uredinia on canes");
  }
  assert.deepEqual(moved.map((f) => f.properties.words).sort(), ["cupped leaves", "spindly", "weak shoots, orange below"]);
  await page.getByRole("button", { name: "Row 2, plant 12" }).click();
  assert.equal(await page.locator(".steps [aria-current]").innerText(), "confirmed");
  const history = page.locator("ol.revisions");
  await history.getByText("by telephone. Laboratory result", { exact: false }).waitFor();
  await history.getByText("sample for County plant clinic", { exact: false }).waitFor();
  await page.context().close();
});

test("a find whose words mean several galls is asked about; a second find of a plant is linked", async () => {
  const page = await person("scout");
  assert.equal((await put(page, "finds", find(4, "gall on the cane", "other"))).status, 201);
  assert.equal((await put(page, "finds", find(5, "the same again", "cane-leaf-rust", { plant: 12, found_at: "2026-10-19T09:30:00-04:00" }))).status, 201);
  await page.goto(at("disease", `find:${find(4, "").id}`));
  const which = page.locator(".which-name");
  await which.waitFor();
  assert.match(await which.innerText(), /beetle[\s\S]*bacteria|bacteria[\s\S]*beetle/);
  await which.getByRole("button", { name: "It is gall of the rednecked cane borer (beetle)" }).click();
  await page.getByText("Saved as Cane borer gall, suspected.").waitFor();
  const named = (await finds(page)).find((f) => f.id === find(4, "").id);
  assert.deepEqual([named.properties.cause, named.properties.state, named.properties.words], ["cane-borer-gall", "suspected", "gall on the cane"]);

  await page.goto(at("disease", `find:${find(5, "").id}`));
  await page.getByRole("heading", { name: "Found before or since on row 2, plant 12" }).waitFor();
  await page.getByText("cupped leaves").waitFor();
  // Two finds, one plant: it is counted once, and stays confirmed.
  const plant = await page.evaluate(async (path) => (await (await fetch(path)).json()).episodes, `/farms/demo/collections/blocks/items/${block.id}/episodes?row=2&plant=12`);
  assert.deepEqual([plant.length, plant[0].finds.length, plant[0].state], [1, 2, "confirmed"]);
  await page.context().close();
});

test("next spring's list holds last year's plants, on the page and on paper", async () => {
  const page = await person("scout", touch);
  await page.goto(`/go/demo/disease?block=${block.id}&view=again&season=2027`);
  const table = page.getByRole("table", { name: "Plants to look at again in 2027" });
  await table.waitFor();
  const line = table.getByRole("row").filter({ has: page.getByRole("cell", { name: "12", exact: true }) });
  assert.match(await line.innerText(), /cane and leaf rust \(Kuehneola uredinis\)[\s\S]*confirmed[\s\S]*2026[\s\S]*no/);
  const sheet = await taken(page, "Print the list (PDF)");
  assert.equal(sheet.subarray(0, 5).toString("latin1"), "%PDF-");
  const [csv] = await Promise.all([page.waitForEvent("download"), page.getByRole("button", { name: "Download as CSV" }).click()]);
  assert.match(await readFile(await csv.path(), "utf8"), /2,12,cane and leaf rust/);
  await page.context().close();
});

test("the adviser fits a programme to the farm; past counts are weighed by it; the scout only reads it", async () => {
  const page = await person("adviser");
  await page.goto("/go/demo/papers?view=programmes");
  await page.getByRole("button", { name: "Open Clipped buds" }).click();
  await page.getByLabel("Action level").fill("0");
  await page.getByLabel("Why the list changes", { exact: false }).fill("a young block");
  await main(page).click();
  // The server says what is wrong beside the field.
  await page.locator(".field.faulty").filter({ hasText: "Action level" }).waitFor();
  await page.getByLabel("Action level").fill("8");
  await main(page).click();
  await page.getByText("Saved: Clipped buds.").waitFor();
  const line = page.getByRole("row").filter({ hasText: "Clipped buds" });
  assert.match(await line.innerText(), /above 8 %[\s\S]*this farm's own/);
  await page.getByRole("button", { name: "Open Stink bugs in pyramid traps" }).click();
  await page.getByRole("button", { name: "Do not use it here" }).click();
  await page.getByText("Not used here any more: Stink bugs in pyramid traps.").waitFor();
  assert.match(await page.getByRole("row").filter({ hasText: "Stink bugs in pyramid traps" }).innerText(), /not used here/);
  await main(page).filter({ hasText: "New programme" }).click();
  for (const [label, value] of [["Name", "Mites on leaves"], ["Cause", "Two-spotted mite"], ["What is a hit", "mites"], ["What is looked at", "leaves"], ["Action level", "2.5"]]) await page.getByLabel(label, { exact: true }).fill(value);
  await page.getByLabel("One thing looked at shows").selectOption({ label: "none, one or several" });
  await main(page).click();
  await page.getByText("Saved: Mites on leaves.").waitFor();
  const kept = await page.evaluate(async () => (await fetch("/farms/demo/programmes")).json());
  const mites = kept.programmes.find((p) => p.id === "mites-on-leaves");
  assert.deepEqual([mites.cause, mites.level, mites.method, mites.source], ["two-spotted-mite", 2.5, "poisson", "common practice"]);

  await page.goto(`/go/demo/papers?block=${block.id}&view=counts&season=2026`);
  const picture = page.getByRole("img", { name: /^Clipped buds: \d+ counts from/ });
  await picture.waitFor();
  const told = await page.evaluate(async (path) => (await fetch(path)).json(), `/farms/demo/collections/blocks/items/${block.id}/counts?season=2026`);
  const buds = told.series.find((s) => s.programme.id === "clipped-buds");
  assert.ok(buds.counts.length > 0 && buds.counts.every((c) => c.level === 0.08));
  // 1 of 100: the upper limit of 95 %, both sides, is 5.45 % (R: binom.test(1, 100)), under 8 %.
  const one = buds.counts.find((c) => c.hits === 1 && c.n === 100);
  if (one) assert.equal(one.answer, "below");
  assert.equal(await picture.locator("path.dot").count(), buds.counts.length);
  assert.equal(await picture.locator("line.level").count(), 1);
  await page.getByRole("table", { name: "Clipped buds: the counts" }).waitFor();
  await page.context().close();

  const scout = await person("scout");
  await scout.goto("/go/demo/papers?view=programmes:clipped-buds");
  await scout.getByText("The owner or an adviser changes the list.").waitFor();
  assert.ok(await scout.getByLabel("Action level").isDisabled());
  await scout.context().close();
});

test("a sampling walk is drawn from its seed, taken as GPX and paper, and goes with the visit", async () => {
  const page = await person("adviser");
  await page.goto(`/go/demo/walk?block=${block.id}&view=plan`);
  await page.getByLabel("For which count").selectOption({ label: "Hills with leafroller" });
  await page.getByLabel("Seed").fill("4711");
  await page.getByLabel("Stops", { exact: false }).fill("6");
  await page.getByLabel("How they are drawn").selectOption({ label: "at random" });
  await main(page).click();
  const table = page.getByRole("table", { name: "6 stops, in walking order" });
  await table.waitFor();
  const link = page.url();
  assert.match(link, /view=plan%3Aleafroller-hills%3Arandom%3A6%3A4711$/);
  const stops = await table.getByRole("row").allInnerTexts();
  await page.getByRole("button", { name: "Row map" }).click();
  const grid = page.getByRole("grid");
  await grid.waitFor();
  await table.getByRole("button", { name: "Show stop 3" }).click();
  await page.locator(".rowmap-said").filter({ hasText: "a stop of the walk" }).waitFor();
  await page.getByRole("button", { name: "Row map" }).click();
  const gpx = (await taken(page, "For a GPS receiver (GPX)")).toString("utf8");
  assert.equal(gpx.match(/<wpt /g)?.length, 6);
  assert.match(gpx, /4711/);
  assert.equal((await taken(page, "Print the walk (PDF)")).subarray(0, 5).toString("latin1"), "%PDF-");
  await page.context().close();

  // The link draws the same walk for the scout; the visit takes it along.
  const scout = await person("scout", touch);
  await scout.goto(link);
  const again = scout.getByRole("table", { name: "6 stops, in walking order" });
  await again.waitFor();
  assert.deepEqual(await again.getByRole("row").allInnerTexts(), stops);
  await scout.getByRole("button", { name: "Start a visit with these stops" }).click();
  await scout.getByText("The visit has 6 stops, also without a signal.").waitFor();
  const planned = scout.locator(".planned-stops");
  const third = planned.getByRole("button", { name: /^3: row/ });
  await third.click();
  const [, row, plant] = /row (\d+), plant (\d+)/.exec(await third.innerText());
  assert.equal(await scout.getByLabel("Row", { exact: true }).inputValue(), row);
  assert.equal(await scout.getByLabel("Plant", { exact: true }).inputValue(), plant);
  assert.ok((await third.boundingBox()).height >= 56);
  await allSent(scout);
  const visit = (await records(scout, "demo", "visits", `&block=${block.id}`)).features.find((f) => f.properties.planned_stops);
  assert.equal(visit.properties.planned_stops.length, 6);
  assert.deepEqual([visit.properties.planned_stops[2].row, visit.properties.planned_stops[2].plant], [Number(row), Number(plant)]);
  await scout.context().close();
});

test("every one of these screens keeps WCAG 2.2 A and AA and 44 px, in both languages, on both sizes", async () => {
  const english = await englishOnly();
  const broken = [];
  for (const [size, options] of [["laptop", {}], ["phone", touch]]) {
    const page = await person("adviser", options);
    const sample = (await records(page, "demo", "samples")).features.find((s) => s.properties.accession === "26-1005");
    // The rules look at every line: a block with few finds says as much.
    const small = (await records(page, "demo", "blocks")).features.find((f) => f.properties.name === "Creek Block");
    const look = async (where) => {
      broken.push(...(await brokenRules(page)).map((r) => `${where}: ${r}`));
      broken.push(...(await tightPlaces(page, ".sheet-content button, .sheet-content select, .sheet-content summary, .sheet-content input:not([type=radio], [type=checkbox]), .sheet-content .check, .action-bar button", where)));
    };
    const addresses = [
      "/go/demo/disease?view=samples&season=2026",
      `/go/demo/disease?block=${small.id}&view=sample:new`,
      `/go/demo/disease?view=sample:${sample.id}`,
      at("disease", `find:${find(4, "").id}`),
      `/go/demo/disease?block=${small.id}&view=again&season=2027`,
      "/go/demo/papers?view=programmes",
      "/go/demo/papers?view=programmes:clipped-buds",
      `/go/demo/papers?block=${block.id}&view=counts&season=2026`,
      `/go/demo/walk?block=${block.id}&view=plan:leafroller-hills:spread:6:1`,
    ];
    for (const language of languagesOn(size === "phone")) {
      await speak(page, language);
      for (const address of addresses) {
        await page.goto(address);
        await page.getByRole("heading", { level: 1 }).first().waitFor();
        await page.waitForLoadState("networkidle");
        await look(`${size} ${language} ${address}`);
        if (language === "es") broken.push(...(await englishLeft(page, english)).map((x) => `${size} ${address}: ${x}`));
      }
    }
    await page.context().close();
  }
  assert.deepEqual(broken, []);
});

test("no page reported a fault", () => {
  assert.deepEqual(windows.filter((w) => w.faults.length > 0), []);
});
