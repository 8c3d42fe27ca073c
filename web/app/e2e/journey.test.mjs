// The main job of four people on one farm, and what a neighbour sees of it:
// nothing. Figures on screen are held against the server's own and against the
// formulas they claim.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { openBrowser, openWindow, serveDemo, sizes } from "./harness.mjs";
import { allSent, clickMap, goTo, records, signIn } from "./people.mjs";

// 43,560 square feet of 0.3048 m (the international foot of 1959).
const squareMetresPerAcre = 43_560 * 0.3048 ** 2;
const blockName = "Journey Block";

let demo;
let browser;
const windows = [];

before(async () => {
  demo = await serveDemo();
  browser = await openBrowser();
});
after(async () => {
  await browser?.close();
  await demo?.stop();
});

async function person(name, options) {
  const opened = await openWindow(browser, demo.base, options);
  windows.push({ name, faults: opened.faults });
  await signIn(opened.page, name);
  return opened.page;
}

const number = (text) => Number(/-?[\d,]+(?:\.\d+)?/.exec(text)[0].replaceAll(",", ""));

let block;

test("the grower draws a block with a hole by mouse and sees the area the server stored", async () => {
  const page = await person("grower");
  await page.getByRole("button", { name: "Draw a block" }).click();
  await page.getByRole("heading", { level: 1, name: "Which ground is the new block?" }).waitFor();
  await page.getByRole("button", { name: "Farther" }).click();
  await page.waitForTimeout(800);
  // Clear of the farm, which fills the middle of the map: its lower right.
  const corners = [
    [0.8, 0.55],
    [0.95, 0.55],
    [0.95, 0.8],
    [0.8, 0.8],
  ];
  await clickMap(page, [...corners, corners[0]]);
  await page.getByRole("button", { name: "Cut a hole" }).click();
  const hole = [
    [0.85, 0.62],
    [0.9, 0.62],
    [0.9, 0.68],
    [0.85, 0.68],
  ];
  await clickMap(page, [...hole, hole[0]]);
  await page.getByLabel("Name", { exact: true }).fill(blockName);
  await page.getByLabel("Between rows").fill("10");
  await page.getByLabel("Between plants").fill("3");
  await page.getByLabel("Rows run towards").fill("90");
  await page.getByRole("button", { name: `Save block ${blockName}` }).click();
  await page.getByRole("heading", { level: 1, name: blockName }).waitFor();

  block = (await records(page, "demo", "blocks")).features.find((f) => f.properties.name === blockName);
  assert.equal(block?.geometry.coordinates.length, 2, "the stored outline has its shell and one hole");
  const report = await page.evaluate(async () => (await fetch("/farms/demo/reports/blocks.csv")).text());
  const [head, ...lines] = report.trim().split("\r\n");
  const at = head.split(",").indexOf("outline_m2");
  const m2 = Number(lines.find((l) => l.startsWith(block.id)).split(",")[at]);
  const acres = m2 / squareMetresPerAcre;
  const shown = page.getByRole("definition").filter({ hasText: " ac" }).first();
  await shown.waitFor();
  assert.equal(number(await shown.innerText()), Number(acres.toFixed(acres < 1 ? 3 : 2)));
});

test("the grower lays out rows in it", async () => {
  const page = await person("grower");
  await page.goto(`/go/demo/ground?block=${block.id}`);
  await page.getByRole("button", { name: "Lay out rows" }).click();
  await page.getByRole("button", { name: "Show the rows" }).click();
  await page.getByRole("button", { name: /^Save \d+ rows$/ }).click();
  await page.getByText(/^Saved \d+ rows\.$/).first().waitFor();
  const rows = (await records(page, "demo", "rows", `&block=${block.id}`)).features;
  assert.ok(rows.length >= 5, `${rows.length} rows are stored`);
});

test("the scout drops three finds by row and plant, takes one back, and closes the visit", async () => {
  const page = await person("scout", { size: sizes.phone, hasTouch: true, isMobile: true });
  await goTo(page, "Walk", "What did you see on this plant?");
  await page.getByLabel("Block", { exact: true }).selectOption({ label: blockName });
  await page.getByRole("button", { name: "Start a visit" }).click();
  await page.getByText(/^Visit since/).waitFor();
  await page.getByRole("radio", { name: "Orange rust" }).check();
  await page.getByRole("radio", { name: "2 moderate" }).check();
  await page.getByRole("button", { name: "Row: 1 on" }).click();
  for (const plant of [2, 3, 4, 5]) {
    await page.getByRole("button", { name: "Plant: 1 on" }).click();
    await page.getByRole("button", { name: `Save Orange rust, row 2, plant ${plant}` }).click();
    await page.getByText(`On this device: Orange rust, row 2, plant ${plant}.`).waitFor();
  }
  await page.getByRole("button", { name: "Undo" }).click();
  await page.getByText(/^Taken back/).waitFor();
  await allSent(page);
  const stored = (await records(page, "demo", "finds", `&block=${block.id}`)).features.map((f) => f.properties);
  assert.deepEqual(stored.map((p) => [p.row, p.plant, p.cause, p.state, p.severity]).sort(), [
    [2, 2, "orange-rust", "suspected", 2],
    [2, 3, "orange-rust", "suspected", 2],
    [2, 4, "orange-rust", "suspected", 2],
  ]);
  assert.equal(await page.getByRole("listitem").filter({ hasText: "Orange rust, 2 moderate, row 2" }).count(), 3);

  await page.getByRole("button", { name: "Close the visit …" }).click();
  await page.getByLabel("Rows and plants looked at").fill("1, 2:1-10");
  await page.getByRole("button", { name: "Close the visit with 3 finds" }).click();
  await page.getByText("Visit closed, on this device.").waitFor();
  await allSent(page);
  const [visit] = (await records(page, "demo", "visits", `&block=${block.id}`)).features;
  assert.deepEqual(visit.properties.inspected[1], { row: 2, from: 1, to: 10 });
  assert.equal(stored[0].visit, visit.id);
});

test("a find whose answer is lost on the way waits on the device and is stored once", async () => {
  const page = await person("scout");
  await page.goto(`/go/demo/walk?block=${block.id}`);
  await page.getByText("Choose first what it looks like.").waitFor();
  await page.getByRole("radio", { name: "Orange rust" }).check();
  const save = page.getByRole("button", { name: /^Save Orange rust, row 1, plant 1$/ });
  await save.waitFor();
  await page.getByLabel("In your own words").fill("spindly shoots");
  let sent = 0;
  // The server takes it, and the answer is lost on the way.
  await page.route("**/farms/demo/changes", async (route) => {
    sent += 1;
    await route.fetch();
    await route.abort("connectionreset");
  });
  await save.click();
  await page.getByText("On this device: Orange rust, row 1, plant 1.").waitFor();
  await page.getByRole("button", { name: "1 waiting to send" }).click();
  await page.getByText("Not sent: ", { exact: false }).waitFor();
  assert.ok(sent >= 1, "it was sent at once");
  await page.unroute("**/farms/demo/changes");
  await page.getByRole("button", { name: "Send now" }).click();
  await page.getByText("Nothing waits on this device.", { exact: false }).waitFor();
  await page.getByRole("button", { name: "Close", exact: true }).click();
  const ones = async () => (await records(page, "demo", "finds", `&block=${block.id}`)).features.filter((f) => f.properties.row === 1);
  assert.deepEqual((await ones()).map((f) => [f.properties.words, f.revision]), [["spindly shoots", 1]], "one find, although it was sent twice");
  await page.getByRole("listitem").filter({ hasText: "row 1, plant 1" }).waitFor();
  await page.getByRole("button", { name: "Undo" }).click();
  await page.getByText("Taken back.").waitFor();
  await allSent(page);
  assert.equal((await ones()).length, 0);
  // A cut connection is this test's own doing.
  windows.at(-1).faults.splice(0);
});

test("the adviser sees the three finds as one group, and confirms one with a reason", async () => {
  const page = await person("adviser");
  await goTo(page, "Disease", "Where do finds cluster?");
  await page.getByLabel("Block", { exact: true }).selectOption({ label: blockName });
  await page.getByRole("checkbox", { name: "suspected" }).check();
  const answered = page.waitForResponse((r) => r.url().endsWith("/hot-spots"));
  await page.getByRole("button", { name: "Find the groups" }).click();
  const answer = await (await answered).json();
  assert.deepEqual(answer.groups.map((g) => g.finds), [[2, 3, 4].map((plant) => ({ row: 2, plant }))]);
  const groups = page.getByRole("table", { name: /^Groups/ });
  await groups.getByRole("button", { name: "Show group 1 on the map" }).click();
  assert.match(await groups.innerText(), /\b3\b/);
  await page.getByText("It is no diagnosis.", { exact: false }).first().waitFor();
  const list = page.getByRole("table", { name: /^The list, plant by plant/ });
  await list.getByRole("button", { name: "Show row 2, plant 3 on the map" }).click();

  await page.getByLabel("Find", { exact: true }).selectOption({ label: "Row 2, plant 3: Orange rust, suspected" });
  await page.getByRole("button", { name: "Confirm this find" }).click();
  await page.getByText("Write why. The reason stays with the record.").waitFor();
  await page.getByLabel("Why (what you saw", { exact: false }).fill("orange spores on the leaf margin");
  await page.getByRole("button", { name: "Confirm this find" }).click();
  await page.getByText("Saved: confirmed.").waitFor();
  const found = (await records(page, "demo", "finds", `&block=${block.id}&state=confirmed`)).features;
  assert.equal(found.length, 1);
  assert.equal(found[0].why, "orange spores on the leaf margin");
});

test("the applicator drafts a pass, and the product total is the treated area times the rate", async () => {
  const page = await person("applicator");
  await goTo(page, "Pass", "What may I spray on this ground, and how much?");
  await page.getByRole("checkbox", { name: blockName }).check();
  await page.getByLabel("Name on the label").fill("Journey product");
  await page.getByLabel("Rate", { exact: true }).fill("12");
  await page.getByRole("button", { name: "Work it out" }).click();
  // No unit was chosen: ounces are never guessed.
  await page.getByText("Choose the unit.", { exact: false }).waitFor();
  await page.getByLabel("Unit of the rate").selectOption({ label: "fl oz (volume)" });
  await page.getByLabel("Spray (water and product)").fill("40");
  await page.getByLabel("Tank holds").fill("5");
  const answered = page.waitForResponse((r) => r.url().endsWith("/treated-area"));
  await page.getByRole("button", { name: "Work it out" }).click();
  const answer = await (await answered).json();
  const acres = answer.areas.treated_m2 / squareMetresPerAcre;
  const exact = acres * 12;
  assert.ok(Math.abs(answer.totals[0].amount.value - exact) < 1e-6, `${answer.totals[0].amount.value} fl oz, by hand ${exact}`);

  const total = page.getByRole("row", { name: /^Journey product/ }).first();
  await total.waitFor();
  const shown = number(await total.getByRole("cell").innerText());
  assert.ok(shown <= exact + 1e-9 && exact - shown < 0.1, `${shown} fl oz is shown of ${exact}: cut to the tool, never raised`);
  const treated = page.getByRole("definition").filter({ hasText: " ac" }).nth(2);
  assert.equal(number(await treated.innerText()), Number(acres.toFixed(acres < 1 ? 3 : 2)));
  await page.getByText("The product label is the law", { exact: false }).first().waitFor();
  const full = Math.floor((acres * 40) / 5);
  await page.getByText(`${full} full tank${full === 1 ? "" : "s"} of 5 gal`, { exact: false }).waitFor();

  await page.getByRole("button", { name: "Save as a draft" }).click();
  await page.getByRole("heading", { level: 2, name: /draft$/ }).waitFor();
  await page.getByRole("button", { name: "It was applied" }).click();
  await page.getByLabel("Started").fill("2026-06-10T06:30");
  await page.getByLabel("Ended").fill("2026-06-10T07:45");
  await page.getByLabel(/^Wind speed/).fill("5");
  await page.getByLabel(/^Wind from/).fill("200");
  await page.getByLabel(/^Temperature/).fill("68");
  await page.getByRole("button", { name: "Save as applied" }).click();
  await page.getByRole("heading", { level: 2, name: /applied$/ }).waitFor();
  await allSent(page);
  const pass = (await records(page, "demo", "passes")).features.find((f) => f.properties.products?.[0]?.product?.name === "Journey product");
  assert.equal(pass.properties.state, "applied");
  assert.equal(pass.properties.started_at, "2026-06-10T06:30:00-04:00");
  assert.equal(pass.properties.weather.temperature_c, 20);
  assert.equal(pass.properties.areas.treated_m2, answer.areas.treated_m2);
});

test("the grower reads who changed the find, when, why and what", async () => {
  const page = await person("grower");
  await goTo(page, "Papers", "What do the records say?");
  await page.getByLabel("Records", { exact: true }).selectOption({ label: "Finds" });
  await page.getByLabel("Of block").selectOption({ label: blockName });
  const table = page.getByRole("table", { name: /^Finds/ });
  await table.getByRole("row", { name: /confirmed/ }).getByRole("button").click();
  await page.getByRole("heading", { level: 2, name: /^Revisions of/ }).waitFor();
  await page.getByText("Why: orange spores on the leaf margin").waitFor();
  await page.getByText("state: suspected → confirmed").waitFor();
  await page.getByText("Adviser (invented)", { exact: false }).first().waitFor();
});

test("the neighbour sees none of it", async () => {
  const page = await person("neighbour");
  await page.waitForURL(/\/go\/demo-two\//);
  const text = await page.locator("body").innerText();
  assert.ok(!text.includes(blockName) && !text.includes("Gate Block"));
  assert.equal((await records(page, "demo", "blocks")).status, 404);
  assert.equal((await records(page, "demo", "finds")).status, 404);
  await page.goto(`/go/demo/ground?block=${block.id}`);
  await page.getByText("There is no farm “demo” for you here.").waitFor();
});

test("no page broke the content rules or wrote an error", () => {
  assert.deepEqual(
    windows.flatMap((w) => w.faults.map((f) => `${w.name}: ${f}`)),
    [],
  );
});
