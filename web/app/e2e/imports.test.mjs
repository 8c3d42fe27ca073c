// A file comes in: sent, read, judged shape by shape, stored and taken back.
// The files and what to expect of them are of testdata/cases (README there);
// areas are on the WGS 84 ellipsoid, within 0.1 %.
import assert from "node:assert/strict";
import { mkdtemp, readFile, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { after, before, test } from "node:test";
import { fileURLToPath } from "node:url";
import { englishLeft, englishOnly } from "./catalogue.mjs";
import { brokenRules, languagesOn, openBrowser, openWindow, serveDemo, sizes, tightPlaces } from "./harness.mjs";
import { records, signIn, speak } from "./people.mjs";

const cases = join(dirname(fileURLToPath(import.meta.url)), "..", "..", "..", "testdata", "cases", "files");
const squareMetresPerAcre = 43_560 * 0.3048 ** 2;
// The narrowest phone in use.
const small = { width: 360, height: 780 };

let demo;
let browser;
const opened = [];

before(async () => {
  demo = await serveDemo();
  browser = await openBrowser();
});
after(async () => {
  await browser?.close();
  await demo?.stop();
});

async function grower(options) {
  const window = await openWindow(browser, demo.base, options);
  opened.push(window.faults);
  await signIn(window.page, "grower");
  return window.page;
}

/** Opens the import, gives it a file and has it read. */
async function bring(page, file, { kind = "blocks", words = en } = {}) {
  await page.goto("/go/demo/ground?view=import");
  await page.getByRole("heading", { level: 1, name: words.title }).waitFor();
  await page.locator("#import-file").setInputFiles(typeof file === "string" ? join(cases, file) : file);
  await page.locator("#import-kind").selectOption(kind);
  await page.getByRole("button", { name: words.read }).click();
  await page.getByRole("button", { name: words.other }).waitFor({ timeout: 60_000 });
}

const en = { title: "What does the file hold?", read: /^Read /, other: "Choose another file" };
const es = { title: "¿Qué contiene el archivo?", read: /^Leer /, other: "Elegir otro archivo" };

const shape = (page, n) => page.locator(`#import-shape-${n}`);
const newest = async (page, kind, known) => (await records(page, "demo", kind)).features.filter((f) => !known.has(f.id));
const idsOf = async (page, kind) => new Set((await records(page, "demo", kind)).features.map((f) => f.id));
const figure = (text) => Number(/-?[\d,]+(?:\.\d+)?/.exec(text)[0].replaceAll(",", ""));

/** What the server itself measures of a block, m2. */
async function outline(page, id) {
  const report = await page.evaluate(async () => (await fetch("/farms/demo/reports/blocks.csv")).text());
  const [head, ...lines] = report.trim().split("\r\n");
  return Number(lines.find((l) => l.startsWith(id)).split(",")[head.split(",").indexOf("outline_m2")]);
}

function near(got, want, share, what) {
  assert.ok(Math.abs(got - want) <= share * want, `${what}: ${got}, want ${want} within ${share * 100} %`);
}

/** Stores what is chosen and waits for the line that offers the undo. */
async function store(page, label) {
  await page.getByRole("button", { name: label, exact: true }).click();
  await page.getByRole("button", { name: "Undo import" }).waitFor();
}

async function undo(page) {
  await page.getByRole("button", { name: "Undo import" }).click();
  await page.getByText(/^The import is undone: \d+ records? closed/).waitFor();
}

test("a zipped shapefile in survey feet becomes a block, and one click takes it back", async () => {
  const page = await grower();
  const known = await idsOf(page, "blocks");
  await bring(page, "V061-shp-prj-ftus.zip");
  await shape(page, 1).getByRole("radio", { name: /^Take/ }).first().isChecked();
  await store(page, "Store 1 block");
  const [block] = await newest(page, "blocks", known);
  near(await outline(page, block.id), 16_092.26, 0.001, "area of V061");
  // The offer stays while other screens are looked at, and after the page is fetched anew.
  await page.goto(`/go/demo/ground?block=${block.id}`);
  await page.getByText("1 block stored from V061-shp-prj-ftus.zip.").waitFor();
  await undo(page);
  assert.deepEqual(await newest(page, "blocks", known), []);
});

test("an outline that crosses itself is asked about, and the area chosen is the area stored", async () => {
  const page = await grower();
  const known = await idsOf(page, "blocks");
  await bring(page, "V006-bowtie-symmetric.geojson");
  const one = shape(page, 1);
  assert.ok(await one.getByRole("radio", { name: "Leave it out" }).isChecked(), "nothing is taken before the person says so");
  assert.ok(await page.getByRole("button", { name: "Store 0 blocks" }).isDisabled());
  await one.getByRole("radio", { name: "Take with corners reordered" }).waitFor();
  await one.getByRole("button", { name: /^Show mark 1/ }).click();
  await one.getByRole("radio", { name: "Take repaired" }).check();
  const shown = figure(await one.locator("dd strong").innerText());
  await store(page, "Store 1 block");
  const [block] = await newest(page, "blocks", known);
  const stored = await outline(page, block.id);
  near(stored, 5407.29, 0.001, "area of V006, repaired");
  assert.equal(shown, Number((stored / squareMetresPerAcre).toFixed(2)), "acres shown before storing");
  await undo(page);
});

test("what overlaps says by how much: within the file, and with each block of the farm", async () => {
  const page = await grower();
  await bring(page, "V046-neighbours-overlap.geojson");
  // By shapely (README of the cases): 468.45 m2.
  await page.getByText("overlap by 468.45 m2", { exact: false }).waitFor();
  await store(page, "Store 2 blocks");
  await bring(page, "V046-neighbours-overlap.geojson");
  // 16,092.24 m2 are 3.98 acres, 468.45 m2 are 0.116 acres.
  await shape(page, 1).getByText("Overlaps A1 by 3.98 ac.").waitFor();
  await shape(page, 1).getByText("Overlaps A2 by 0.116 ac.").waitFor();
  await page.getByRole("button", { name: "ha, m" }).click();
  await shape(page, 1).getByText("Overlaps A2 by 0.047 ha.").waitFor();
  await undo(page);
});

test("an import of which a block was changed since is not undone, and says which", async () => {
  const page = await grower();
  const known = await idsOf(page, "blocks");
  await bring(page, "V046-neighbours-overlap.geojson");
  await store(page, "Store 2 blocks");
  const [block] = await newest(page, "blocks", known);
  await page.goto(`/go/demo/ground?block=${block.id}&view=edit`);
  await page.getByLabel("Name", { exact: true }).fill("Changed since");
  await page.getByRole("button", { name: "Save block Changed since" }).click();
  await page.getByRole("heading", { level: 1, name: "Changed since" }).waitFor();
  await page.getByRole("button", { name: "Undo import" }).click();
  await page.getByRole("alert").filter({ hasText: "Changed since" }).waitFor();
  assert.equal((await newest(page, "blocks", known)).length, 2);
});

test("without a coordinate system the file is shown where each likely one puts it, then read", async () => {
  const page = await grower();
  const known = await idsOf(page, "blocks");
  await bring(page, "V060-shp-no-prj-degrees.zip");
  const question = page.getByRole("group", { name: "Which coordinate system are the figures in?" });
  const again = question.getByRole("button", { name: "Read it again so" });
  assert.ok(await again.isDisabled(), "nothing is answered yet");
  await question.getByRole("radio").first().check();
  await page.getByText("where the chosen system puts it").waitFor();
  assert.deepEqual(await newest(page, "blocks", known), [], "a preview stores nothing");
  await question.getByRole("radio", { name: "Another system, by its EPSG code" }).check();
  await page.getByLabel("EPSG code", { exact: true }).fill("4326");
  await again.click();
  await store(page, "Store 2 blocks");
  const areas = [];
  for (const b of await newest(page, "blocks", known)) areas.push(await outline(page, b.id));
  areas.sort((a, b) => b - a);
  near(areas[0], 16_092.24, 0.001, "area of V060 A1");
  near(areas[1], 11_844.98, 0.001, "area of V060 A2");
  await undo(page);
});

test("what the server refuses is named shape by shape and marked, and none is stored", async () => {
  const page = await grower();
  const known = await idsOf(page, "finds");
  // Within 50 km of no block of this farm at this moment.
  const far = { name: "far.csv", mimeType: "text/csv", buffer: Buffer.from("name,longitude,latitude\nfar,-120.5,45.25\n") };
  await bring(page, far, { kind: "finds" });
  await page.getByLabel("Found on, unless the file says when").fill("2026-06-10");
  await page.getByRole("button", { name: "Store 1 find", exact: true }).click();
  await page.getByRole("alert").getByText("Nothing of this import was stored", { exact: false }).waitFor();
  await page.getByText("far: This find lies outside every block", { exact: false }).waitFor();
  await page.getByRole("button", { name: "Show mark 1 on the map" }).waitFor();
  assert.deepEqual(await newest(page, "finds", known), []);
});

test("columns of a table are guessed, can be said, and metres ask for their system", async () => {
  const page = await grower();
  // Finds must lie in or near a block: that of V061 is their ground.
  await bring(page, "V061-shp-prj-ftus.zip");
  await store(page, "Store 1 block");
  await page.getByRole("button", { name: "Close", exact: true }).click();
  const known = await idsOf(page, "finds");
  const want = [[-94.4412345, 36.3131111], [-94.4409876, 36.3133333], [-94.4405555, 36.3129999]];
  const takeAll = async (names) => {
    await page.getByLabel("What all of them look like, unless the file says it").selectOption("orange-rust");
    await page.getByLabel("Found on, unless the file says when").fill("2026-06-10");
    await store(page, "Store 3 finds");
    const finds = await newest(page, "finds", known);
    const got = finds.map((f) => f.geometry.coordinates);
    assert.deepEqual(finds.map((f) => f.properties.name).sort(), names);
    assert.deepEqual([...new Set(finds.map((f) => [f.properties.cause, f.properties.state, f.properties.found_at].join()))], ["orange-rust,suspected,2026-06-10T12:00:00Z"]);
    for (const [x, y] of want) {
      // 1e-6 degrees are at most 0.11 m; the file in metres has centimetres.
      assert.ok(got.some(([a, b]) => Math.abs(a - x) < 1e-6 && Math.abs(b - y) < 1e-6), `${x}, ${y} is not among ${JSON.stringify(got)}`);
    }
    await undo(page);
  };
  await bring(page, "V079-csv-header-variants.csv", { kind: "finds" });
  await page.getByRole("button", { name: "Change columns" }).click();
  const columns = page.getByRole("region", { name: "Columns of the table" });
  assert.equal(await columns.getByRole("row").count(), 2 + 3, "names, choices and the three lines of the file");
  await columns.getByLabel("Column Note is").selectOption("name");
  await page.getByRole("button", { name: "Read it again so" }).click();
  await page.getByText("3. n2", { exact: false }).waitFor();
  await takeAll(["n0", "n1", "n2"]);

  await bring(page, "V084-csv-xy-metres.csv", { kind: "finds" });
  await page.getByRole("radio", { name: "Another system, by its EPSG code" }).check();
  await page.getByLabel("EPSG code", { exact: true }).fill("32615");
  await page.getByRole("button", { name: "Read it again so" }).first().click();
  await page.getByText("holds 3 shapes", { exact: false }).waitFor();
  await takeAll([undefined, undefined, undefined]);
});

/** About 30 MB of small squares in rows, on the disk: handing the bytes to the browser takes longer than reading them. */
async function large(t) {
  const squares = [];
  for (let i = 0; squares.length < 100_000; i++) {
    const [x, y] = [-94 + (i % 400) * 0.001, 36 + Math.floor(i / 400) * 0.001];
    const ring = [[x, y], [x + 0.0005, y], [x + 0.0005, y + 0.0005], [x, y + 0.0005], [x, y]].map(([a, b]) => `[${a.toFixed(9)},${b.toFixed(9)}]`);
    squares.push(`{"type":"Feature","properties":{"name":"Square ${i}","note":"${"x".repeat(120)}"},"geometry":{"type":"Polygon","coordinates":[[${ring}]]}}`);
  }
  const folder = await mkdtemp(join(tmpdir(), "caneward-large-"));
  t.after(() => rm(folder, { recursive: true }));
  const file = join(folder, "large.geojson");
  await writeFile(file, `{"type":"FeatureCollection","features":[${squares.join(",\n")}]}`);
  return file;
}

test("stop ends sending and reading, and nothing of the file stays", async (t) => {
  const page = await grower();
  const known = await idsOf(page, "blocks");
  const file = await large(t);
  const line = await page.context().newCDPSession(page);
  const throttle = (bytes) => line.send("Network.emulateNetworkConditions", { offline: false, latency: 0, downloadThroughput: -1, uploadThroughput: bytes });
  await line.send("Network.enable");
  const begin = async () => {
    await page.goto("/go/demo/ground?view=import");
    await page.locator("#import-file").setInputFiles(file);
    await page.getByRole("button", { name: "Read large.geojson" }).click();
  };
  await throttle(2_000_000);
  await begin();
  await page.getByText(/^[1-9]\d? % sent$/).waitFor();
  await page.getByRole("button", { name: "Stop" }).click();
  await page.getByText("Stopped. Nothing of the file was kept.").waitFor();
  await page.locator("#import-file").waitFor();

  await throttle(-1);
  const asked = page.waitForRequest((r) => r.method() === "GET" && /\/imports\/[^/]+$/.test(r.url()), { timeout: 60_000 });
  await begin();
  const address = (await asked).url();
  await page.getByText(/^\d+ % read, [\d,]+ shapes? so far$/).waitFor();
  const removed = page.waitForResponse((r) => r.request().method() === "DELETE");
  await page.getByRole("button", { name: "Stop" }).click();
  assert.ok((await removed).ok());
  assert.equal(await page.evaluate(async (path) => (await fetch(path)).status, address), 404);
  assert.deepEqual(await newest(page, "blocks", known), []);
});

for (const [size, viewport] of Object.entries({ laptop: sizes.laptop, phone: small })) {
  test(`the import keeps WCAG 2.2 A and AA on a ${size}, in both languages`, async () => {
    const english = await englishOnly();
    const page = await grower({ size: viewport, ...(size === "phone" ? { hasTouch: true, isMobile: true } : {}) });
    const broken = [];
    const left = [];
    const look = async (where, spanish) => {
      broken.push(...(await brokenRules(page)).map((r) => `${where}: ${r}`));
      broken.push(...(await tightPlaces(page, ".sheet-content button, .sheet-content select, .sheet-content input:not([type=radio], [type=checkbox]), .sheet-content .check", where)));
      if (spanish) left.push(...(await englishLeft(page, english)).map((x) => `${where}: ${x}`));
    };
    for (const language of languagesOn(size === "phone")) {
      const words = language === "en" ? en : es;
      await speak(page, language);
      await page.goto("/go/demo/ground?view=import");
      await page.getByRole("heading", { level: 1, name: words.title }).waitFor();
      await look(`${language}: choosing`, language === "es");
      for (const [file, kind] of [
        ["V006-bowtie-symmetric.geojson", "blocks"],
        ["V046-neighbours-overlap.geojson", "surroundings"],
        ["V060-shp-no-prj-degrees.zip", "blocks"],
        ["V084-csv-xy-metres.csv", "finds"],
      ]) {
        await bring(page, file, { kind, words });
        await page.waitForTimeout(300);
        await look(`${language}: ${file}`, language === "es");
      }
    }
    assert.deepEqual(broken, []);
    assert.deepEqual([...new Set(left)], []);
  });
}

test("by keyboard alone a file's shape is found, decided and stored", async () => {
  const page = await grower();
  await bring(page, "V006-bowtie-symmetric.geojson");
  const focused = () => page.evaluate(() => document.activeElement?.textContent?.trim() || document.activeElement?.id || "");
  const tabTo = async (wanted) => {
    for (let i = 0; i < 60; i++) {
      await page.keyboard.press("Tab");
      if (await page.evaluate((w) => document.activeElement?.matches(w) ?? false, wanted)) return;
    }
    assert.fail(`60 tabs did not lead to ${wanted}; now at “${await focused()}”`);
  };
  await tabTo("#import-mark-1");
  await page.keyboard.press("Enter");
  await tabTo("#import-shape-1 input[type=radio]");
  await page.keyboard.press("ArrowDown");
  await tabTo(".action-bar .main");
  await page.keyboard.press("Enter");
  await page.getByRole("button", { name: "Undo import" }).focus();
  await page.keyboard.press("Enter");
  await page.getByText(/^The import is undone/).waitFor();
});

test("the farm leaves as a file of each format", async () => {
  const page = await grower();
  await page.goto("/go/demo/papers");
  const links = page.locator(".exports a");
  await links.first().waitFor();
  for (const link of await links.all()) {
    const [taken] = await Promise.all([page.waitForEvent("download"), link.click()]);
    const bytes = await readFile(await taken.path());
    assert.ok(bytes.length > 1000, `${taken.suggestedFilename()} has ${bytes.length} bytes`);
    assert.match(taken.suggestedFilename(), /^demo-farm\.\w+$/);
  }
});

test("no error reached the console", () => assert.deepEqual(opened.flat(), []));
