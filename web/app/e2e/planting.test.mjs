// A grower plans a planting and prints it; plants are marked on the row map by
// keyboard and by touch; an outline is edited under finds. Figures are held
// against the server's own answers and against the formulas they claim.
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { after, before, test } from "node:test";
import { englishLeft, englishOnly } from "./catalogue.mjs";
import { brokenRules, openBrowser, openWindow, serveDemo, sizes } from "./harness.mjs";
import { allSent, clickMap, records, signIn } from "./people.mjs";

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
const touch = { size: sizes.phone, hasTouch: true, isMobile: true };
const number = (text) => Number(/-?[\d,]+(?:\.\d+)?/.exec(text)[0].replaceAll(",", ""));
const main = (page) => page.locator(".action-bar button");

async function blockNamed(page, name) {
  const found = (await records(page, "demo", "blocks")).features.find((f) => f.properties.name === name);
  assert.ok(found, `the demo farm has a block ${name}`);
  return found;
}

// 100 m x 60 m, and 2 mm more, at 36.13 degrees north. Metres to a degree by the
// series of the WGS 84 ellipsoid: 111,132.954 - 559.822 cos 2B + 1.175 cos 4B of
// latitude, 111,412.84 cos B - 93.5 cos 3B + 0.118 cos 5B of longitude.
const start = [-86.52, 36.13];
const place = (east, north) => [start[0] + east / 90_014.5, start[1] + north / 110_961.4];
const [wide, high] = [100.002, 60.002];
const field = {
  type: "Feature",
  id: "019b1111-0000-7000-8000-000000000001",
  geometry: { type: "Polygon", coordinates: [[place(0, 0), place(wide, 0), place(wide, high), place(0, high), place(0, 0)]] },
  properties: { name: "Planting Field", crop: "blackberry", row_spacing_m: 3, plant_spacing_m: 1 },
};

async function put(page, kind, feature, match = { "If-None-Match": "*" }) {
  return page.evaluate(
    async ([path, body, headers]) => {
      const answer = await fetch(path, { method: "PUT", headers: { "Content-Type": "application/geo+json", ...headers }, body: JSON.stringify(body) });
      return { status: answer.status, text: answer.ok ? "" : await answer.text() };
    },
    [`/farms/demo/collections/${kind}/items/${feature.id}`, feature, match],
  );
}

test("the grower draws a guide line with a bend, compares three bearings, orders plants and prints the plan", async () => {
  const page = await person("grower", { acceptDownloads: true });
  const made = await put(page, "blocks", field);
  assert.equal(made.status, 201, made.text);
  await page.goto(`/go/demo/ground?block=${field.id}&view=rows`);
  await page.getByRole("heading", { level: 1, name: "What does Planting Field hold?" }).waitFor();
  await page.waitForLoadState("networkidle");

  await page.getByLabel("Rows run").selectOption({ label: "beside a guide line that bends" });
  assert.match(await page.locator(".action-why").innerText(), /guide line/);
  await clickMap(page, [
    [0.25, 0.5],
    [0.5, 0.42],
    [0.75, 0.5],
  ]);
  await page.getByRole("button", { name: "End the line" }).click();
  await page.getByText("A line of 3 corners").waitFor();
  await page.getByRole("button", { name: "Show the rows" }).click();
  await page.getByText(/^\d+ rows of .* plants\.$/).waitFor();

  await page.getByRole("button", { name: "Compare", exact: true }).click();
  await page.getByLabel("Bearings", { exact: true }).fill("0 45 90");
  await page.getByRole("button", { name: "Compare 5 options" }).click();
  const lines = page.getByRole("region", { name: "Side by side" }).getByRole("row");
  await lines.nth(1).waitFor();
  assert.equal(await lines.count(), 1 + 5, "three bearings, the guide and the longest side");
  const plants = [];
  for (const line of (await lines.all()).slice(1)) plants.push(number(await line.getByRole("cell").nth(1).innerText()));
  assert.deepEqual(plants, [...plants].sort((a, b) => b - a), "the most plants stand first");
  await page.getByRole("button", { name: "Row length" }).click();
  await page.getByRole("columnheader", { name: "Row length", exact: false }).first().waitFor();
  await page.getByRole("button", { name: /^Show 90\.0°, typed or drawn/ }).click();
  await page.getByRole("button", { name: /^Use 90\.0°, typed or drawn/ }).click();

  // 60 m / 3 m = 20 rows of 100 m; 100 m / 1 m + 1 = 101 plants each.
  await page.getByText(/^20 rows of .* 2,020 plants\.$/).waitFor();
  await page.getByText("Free ground, alleys, posts, wires, spare plants").click();
  await page.getByLabel("Spare plants").fill("5");
  await page.getByLabel("Wires").fill("2");
  await page.getByLabel("A post every").fill("30");
  await page.getByRole("button", { name: "Show the rows" }).click();
  await page.getByRole("heading", { level: 2, name: "What to order" }).waitFor();
  // 2,020 x 1.05 = 2,121 exactly.
  const order = page.locator("dt", { hasText: "Plants, 5 % spare" }).locator("+ dd");
  assert.equal(number(await order.innerText()), 2121);
  await order.getByRole("button", { name: "how" }).click();
  assert.match(await order.innerText(), /2,?020/);
  // 6,000 m2 / (3 m x 1 m) = 2,000 by the handbook's formula.
  const handbook = page.getByRole("row", { name: /^Plants/ }).getByRole("cell");
  assert.deepEqual([number(await handbook.nth(0).innerText()), number(await handbook.nth(1).innerText())], [2020, 2000]);
  await page.getByText("Why they differ").waitFor();

  const [download] = await Promise.all([page.waitForEvent("download"), page.getByRole("button", { name: "Print the plan (PDF)" }).click()]);
  const pdf = await readFile(await download.path());
  assert.equal(pdf.subarray(0, 5).toString("latin1"), "%PDF-");
  assert.ok(pdf.length > 5000, `${pdf.length} bytes`);

  await page.getByText("Rows of this layout").click();
  await page.getByRole("button", { name: "Skip row 4" }).click();
  await page.getByText(/^19 rows of .* 1,919 plants\.$/).waitFor();
  await page.getByRole("button", { name: "Plant row 4" }).click();
  await page.getByText(/^20 rows of .* 2,020 plants\.$/).waitFor();
  await page.getByRole("button", { name: "Save 20 rows" }).click();
  await page.getByText("Saved 20 rows.").waitFor();
  await allSent(page);
  const rows = (await records(page, "demo", "rows", `&block=${field.id}`)).features.map((f) => f.properties);
  assert.deepEqual(rows.map((r) => r.number).sort((a, b) => a - b), Array.from({ length: 20 }, (_, i) => i + 1));
  assert.ok(rows.every((r) => r.plants === 101));
  const block = (await records(page, "demo", "blocks")).features.find((f) => f.id === field.id);
  assert.equal(Math.round(block.properties.row_bearing_deg), 90);
  await page.context().close();
});

test("plants are marked missing on the row map by keyboard, and taken back", async () => {
  const page = await person("grower");
  await page.goto(`/go/demo/ground?block=${field.id}`);
  await page.getByRole("button", { name: "Row map" }).click();
  const grid = page.getByRole("grid", { name: /Planting Field/ });
  await grid.waitFor();
  await page.waitForLoadState("networkidle");
  await page.getByLabel("A tap or Enter").selectOption({ label: "marks: no plant here" });
  await grid.focus();
  await page.keyboard.press("ArrowUp");
  await page.keyboard.press("Home");
  await page.keyboard.press("PageDown");
  await page.keyboard.press("ArrowUp");
  await page.keyboard.press("ArrowUp");
  const said = page.locator(".rowmap-said");
  assert.equal(await said.innerText(), "Row 2, plant 3 – plant");
  assert.equal(await page.locator(`#${await grid.getAttribute("aria-activedescendant")}`).innerText(), "Row 2, plant 3 – plant");
  await page.keyboard.press("Enter");
  assert.match(await said.innerText(), /marked, not saved/);
  await page.keyboard.press("End");
  assert.match(await said.innerText(), /^Row 2, plant 101/);
  await page.keyboard.press("Enter");
  await main(page).filter({ hasText: "Save 2 places without a plant" }).click();
  await page.getByText("Saved 2 marks.").waitFor();
  await allSent(page);
  const row = async () => (await records(page, "demo", "rows", `&block=${field.id}`)).features.find((f) => f.properties.number === 2).properties;
  assert.deepEqual((await row()).missing, [3, 101]);
  assert.match(await said.innerText(), /place without a plant/);
  await page.getByRole("button", { name: "Undo" }).click();
  await page.getByText("Taken back.").waitFor();
  await allSent(page);
  assert.deepEqual((await row()).missing ?? [], []);

  await page.getByLabel("A tap or Enter").selectOption({ label: "marks: replanted" });
  await grid.focus();
  await page.keyboard.press("Enter");
  await page.getByLabel("Replanted on").fill("2026-04-02");
  await main(page).filter({ hasText: "Save 1 plant as replanted" }).click();
  await page.getByText("Saved 1 mark.").waitFor();
  await allSent(page);
  assert.deepEqual((await row()).replanted, [{ plant: 101, on: "2026-04-02" }]);
  assert.match(await said.innerText(), /replanted on 2 Apr 2026/);
  await page.context().close();
});

test("a thumb marks plants and a stretch that was looked at, and goes on to a find", async () => {
  const page = await person("grower", touch);
  await page.goto(`/go/demo/ground?block=${field.id}&view=plants`);
  const grid = page.getByRole("grid");
  await grid.waitFor();
  await page.waitForLoadState("networkidle");
  await page.getByLabel("A tap or Enter").selectOption({ label: "marks: no plant here" });
  const box = await grid.boundingBox();
  await page.touchscreen.tap(box.x + box.width * 0.5, box.y + box.height * 0.4);
  await main(page).filter({ hasText: "Save 1 place without a plant" }).waitFor();
  // A finger that drags moves the picture and marks nothing.
  const client = await page.context().newCDPSession(page);
  const at = (x, y) => [{ x: box.x + x, y: box.y + y }];
  await client.send("Input.dispatchTouchEvent", { type: "touchStart", touchPoints: at(100, 80) });
  for (let i = 1; i <= 8; i++) await client.send("Input.dispatchTouchEvent", { type: "touchMove", touchPoints: at(100 + 8 * i, 80 + 4 * i) });
  await client.send("Input.dispatchTouchEvent", { type: "touchEnd", touchPoints: [] });
  assert.equal(await main(page).innerText(), "Save 1 place without a plant");
  // The big steps reach each plant a finger cannot.
  await page.getByRole("button", { name: "Plant: 1 on" }).tap();
  await main(page).tap();
  await page.getByText("Saved 1 mark.").waitFor();
  await allSent(page);
  const rows = (await records(page, "demo", "rows", `&block=${field.id}`)).features;
  assert.equal(rows.flatMap((f) => f.properties.missing ?? []).length, 1);
  for (const button of await page.locator(".rowmap button").all()) {
    const size = await button.boundingBox();
    assert.ok(size.width >= 44 && size.height >= 44, `${await button.getAttribute("aria-label")} is ${size.width} x ${size.height} px`);
  }

  await page.getByLabel("A tap or Enter").selectOption({ label: "marks what was looked at" });
  await page.touchscreen.tap(box.x + box.width * 0.5, box.y + box.height * 0.5);
  await page.getByText(/Now tap the last plant\.$/).waitFor();
  await page.getByRole("button", { name: "The whole row" }).tap();
  const label = await main(page).innerText();
  const seen = /^Save row (\d+), plants 1 to 101, as looked at$/.exec(label);
  assert.ok(seen, label);
  await main(page).tap();
  await page.getByText(/^Saved: row \d+, plants 1 to 101 looked at\.$/).waitFor();
  await allSent(page);
  const [visit] = (await records(page, "demo", "visits", `&block=${field.id}`)).features;
  assert.deepEqual(visit.properties.inspected, [{ row: Number(seen[1]), from: 1, to: 101 }]);

  await page.getByLabel("A tap or Enter").selectOption({ label: "says what can be done" });
  await page.touchscreen.tap(box.x + box.width * 0.5, box.y + box.height * 0.3);
  const [, row, plant] = /^Row (\d+), plant (\d+)/.exec(await page.locator(".rowmap-said").innerText());
  await page.getByRole("button", { name: "Enter a find here" }).tap();
  await page.getByRole("heading", { level: 1, name: "What did you see on this plant?" }).waitFor();
  await page.getByRole("radio", { name: "Orange rust" }).check();
  await page.getByRole("button", { name: `Save Orange rust, row ${row}, plant ${plant}` }).waitFor();
  await page.context().close();
});

test("the same marks stand on the true map, and Walk takes a plant from the row map", async () => {
  const page = await person("grower");
  await page.goto(`/go/demo/ground?block=${field.id}&view=plants`);
  await page.getByRole("grid").waitFor();
  await page.getByRole("button", { name: "Show on the map" }).click();
  await page.getByText(/a preview, good to a centimetre/).waitFor();
  assert.equal(await page.getByRole("grid").count(), 0);
  await page.goto(`/go/demo/walk?block=${field.id}`);
  await page.getByRole("button", { name: "Row map" }).click();
  const grid = page.getByRole("grid");
  await grid.focus();
  await page.keyboard.press("Home");
  await page.keyboard.press("PageDown");
  await page.keyboard.press("Shift+ArrowUp");
  const said = await page.locator(".rowmap-said").innerText();
  const [, row, plant] = /^Row (\d+), plant (\d+)/.exec(said);
  assert.equal(plant, "11");
  assert.equal(await page.getByLabel("Row", { exact: true }).inputValue(), row);
  assert.equal(await page.getByLabel("Plant", { exact: true }).inputValue(), plant);
  await page.context().close();
});

test("a fix says how likely each row is and chooses none; a find of an unsure row keeps none", async () => {
  // The middle of row 10 of 20: rows run east, row 1 is the northernmost.
  const at = place(50.3, 60 - 1.5 - 9 * 3);
  const page = await person("scout", { ...touch, geolocation: { longitude: at[0], latitude: at[1], accuracy: 3 }, permissions: ["geolocation"] });
  await page.goto(`/go/demo/walk?block=${field.id}`);
  const rowNow = await page.getByLabel("Row", { exact: true }).inputValue();
  await page.getByRole("button", { name: "Switch the GPS on" }).tap();
  const near = page.locator(".walk-near summary");
  await near.waitFor();
  // 3 m is the radius of 68 %: sd = 3 / 1.515 = 1.98 m; half a row of 3 m to
  // each side holds 2 * Phi(1.5 / 1.98) - 1 = 0.55.
  assert.match(await near.innerText(), /row 10 .*5[45] %/);
  assert.equal(await page.getByLabel("Row", { exact: true }).inputValue(), rowNow, "no row is chosen by the fix");
  await page.getByLabel("Which row is not sure").check();
  await page.getByRole("radio", { name: "Orange rust" }).check();
  await page.getByRole("button", { name: "Save Orange rust, row not sure" }).tap();
  await page.getByText(/row not sure\.$/).waitFor();
  await allSent(page);
  const find = (await records(page, "demo", "finds", `&block=${field.id}`)).features.at(-1);
  assert.equal(find.properties.row, undefined);
  assert.equal(find.properties.placed_by, "fix");
  await page.context().close();
});

test("an outline edited under finds shows each record in the way and asks before it is saved", async () => {
  const page = await person("grower");
  const find = {
    type: "Feature",
    id: "019b1111-0000-7000-8000-000000000009",
    geometry: { type: "Point", coordinates: place(96, 60 - 1.5 - 3) },
    properties: { block: field.id, row: 2, plant: 97, cause: "orange-rust", state: "suspected", found_at: "2026-06-01T08:00:00Z" },
  };
  const made = await put(page, "finds", find);
  assert.equal(made.status, 201, made.text);
  await page.goto(`/go/demo/ground?block=${field.id}&view=edit`);
  await page.getByRole("heading", { level: 1, name: "What changes on Planting Field?" }).waitFor();
  await page.getByText("Type the corners").click();
  // The last 10 m of every row go.
  const corners = [place(0, 0), place(90.1, 0), place(90.1, high), place(0, high)];
  await page.locator("#ground-corners").fill(corners.map((c) => c.join(", ")).join("\n"));
  await page.getByRole("button", { name: "Use these corners" }).click();
  await page.getByRole("heading", { level: 2, name: "What the new outline does to the rows" }).waitFor();
  // The find, and the visit that looked at a whole row.
  await page.getByText("2 records stand on places that would be gone").waitFor();
  await page.getByText("Row 2, plant 97: Orange rust, suspected, 1 Jun 2026").waitFor();
  // Plants 92 to 101 of 20 rows stand at 91 m and beyond.
  const gone = page.locator("dt", { hasText: "Places that go" }).locator("+ dd strong");
  assert.equal(number(await gone.innerText()), 200);
  assert.ok(await main(page).isDisabled(), "it cannot be saved before it is agreed to");
  assert.match(await page.locator(".action-why").innerText(), /Tick that these places go/);
  await page.getByLabel("These places go; the records keep their row and number").check();
  await main(page).click();
  await page.getByText("Saved Planting Field.").waitFor();
  const rows = (await records(page, "demo", "rows", `&block=${field.id}`)).features;
  assert.ok(rows.every((r) => r.properties.plants === 101), "the rows stay until they are laid out anew");

  await page.getByRole("button", { name: "Lay out rows" }).click();
  await page.getByRole("button", { name: "Show the rows" }).click();
  await page.getByRole("button", { name: "Show what would change" }).click();
  await page.getByText("2 records stand on places that would be gone").waitFor();
  await page.getByLabel("These places go; the records keep their row and number").check();
  await page.locator(".action-why", { hasText: "Say why" }).waitFor();
  await page.getByLabel("Why they go").fill("new ditch");
  await main(page).filter({ hasText: /^Save the change to 20 rows$/ }).click();
  await page.getByText("Saved 20 rows.").waitFor();
  await allSent(page);
  const kept = (await records(page, "demo", "finds", `&block=${field.id}`)).features.find((f) => f.id === find.id).properties;
  assert.deepEqual([kept.row, kept.plant], [2, 97]);
  const second = (await records(page, "demo", "rows", `&block=${field.id}`)).features.find((f) => f.properties.number === 2).properties;
  assert.ok(second.gone.some((g) => g.plant === 97 && g.why === "new ditch"));
  await page.context().close();
});

for (const [size, options] of [
  ["laptop", {}],
  ["phone", touch],
]) {
  test(`planting and the row map keep WCAG 2.2 A and AA on a ${size}, and say nothing in English in Spanish`, async () => {
    const page = await person("grower", options);
    const { id } = await blockNamed(page, "Hill Block");
    const broken = [];
    const english = await englishOnly();
    const left = [];
    const look = async (where) => {
      broken.push(...(await brokenRules(page)).map((r) => `${where}: ${r}`));
      left.push(...(await englishLeft(page, english)).map((x) => `${where}: ${x}`));
    };
    await page.evaluate(() => localStorage.setItem("caneward.language", "es"));
    await page.goto(`/go/demo/ground?block=${id}&view=rows`);
    await page.getByText("Terreno libre, calles, postes, alambres, plantas de reserva").click();
    await page.getByLabel("Plantas de reserva").fill("5");
    await page.getByLabel("Alambres").fill("2");
    await look("form");
    await page.getByRole("button", { name: "Ver las hileras" }).click();
    await page.getByRole("heading", { level: 2, name: "Qué encargar" }).waitFor();
    await page.getByText("Hileras de este trazado").click();
    await look("laid out");
    await page.getByRole("button", { name: "Ver qué cambiaría" }).click();
    await page.getByText("Lugares que conservan").waitFor();
    await look("revised");
    await page.getByRole("button", { name: "Comparar", exact: true }).click();
    await page.getByRole("button", { name: "Todos, por pasos" }).click();
    await page.getByLabel("Paso", { exact: true }).fill("45");
    await main(page).click();
    await page.getByRole("region", { name: "Lado a lado" }).waitFor();
    await look("compared");
    await page.goto(`/go/demo/ground?block=${id}&view=plants`);
    await page.getByRole("grid").waitFor();
    await page.waitForLoadState("networkidle");
    await page.getByRole("grid").focus();
    await page.keyboard.press("ArrowUp");
    await page.keyboard.press("Enter");
    for (const summary of await page.locator("main summary").all()) await summary.click();
    await look("row map");
    for (const mode of ["marca: replantada", "marca: arrancada", "marca lo revisado"]) {
      await page.getByLabel("Un toque o Intro").selectOption({ label: mode });
      await page.getByRole("grid").focus();
      await page.keyboard.press("Enter");
      await look(mode);
    }
    assert.deepEqual(broken, []);
    assert.deepEqual([...new Set(left)], []);
    await page.context().close();
  });
}

test("no screen of this journey put an error in the console", () => {
  assert.deepEqual(
    windows.filter((w) => w.faults.length > 0),
    [],
  );
});
