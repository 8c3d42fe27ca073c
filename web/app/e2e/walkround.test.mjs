// A block walked round with a phone: recorded, kept through a reload, proposed as
// an outline, stored. The walk is a rectangle of 60 by 40 m laid out on the WGS 84
// ellipsoid (EPSG 7030), so its area is 2,400 m2 whatever the page and the server say.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { englishLeft, englishOnly, textsOf } from "./catalogue.mjs";
import { brokenRules, languagesOn, openBrowser, openWindow, serveDemo, sizes } from "./harness.mjs";
import { records, signIn, speak } from "./people.mjs";

// The narrowest phone in use.
const small = { width: 360, height: 780 };
const phone = { hasTouch: true, isMobile: true };
// Beside the blocks of the demo farm.
const corner = [-86.49, 36.11];
const [width, depth] = [60, 40];
const accuracy = 4;

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

async function grower({ size = sizes.phone, ...options } = {}) {
  const window = await openWindow(browser, demo.base, { size, permissions: ["geolocation"], geolocation: place(0, 0), ...options });
  opened.push(window.faults);
  await signIn(window.page, "grower");
  return window.page;
}

/** So many metres east and north of the corner. */
function place(east, north, over = {}) {
  const rad = Math.PI / 180;
  const [a, e2] = [6378137, 0.00669437999014];
  const w = Math.sqrt(1 - e2 * Math.sin(corner[1] * rad) ** 2);
  return {
    longitude: corner[0] + east / ((a / w) * Math.cos(corner[1] * rad) * rad),
    latitude: corner[1] + north / (((a * (1 - e2)) / w ** 3) * rad),
    accuracy,
    ...over,
  };
}

/** Every ten metres round the rectangle, from one share of the way to another. */
function* round(from = 0, to = 1) {
  const way = 2 * (width + depth);
  for (let d = from * way; d <= to * way - 5; d += 10) {
    if (d <= width) yield place(d, 0);
    else if (d <= width + depth) yield place(width, d - width);
    else if (d <= 2 * width + depth) yield place(2 * width + depth - d, depth);
    else yield place(0, way - d);
  }
}

const positions = (page) => page.locator("dt", { hasText: /^(Positions|Posiciones)$/ }).locator("+ dd");
const counted = async (page) => Number.parseInt(await positions(page).innerText().catch(() => "0"), 10) || 0;

/** Stands at each place until the page has recorded it. */
async function walk(page, places) {
  for (const at of places) {
    const before = await counted(page);
    await page.context().setGeolocation(at);
    await page.waitForFunction(
      (n) => {
        const dt = [...document.querySelectorAll(".round dt")].find((e) => /^Posi[ct]iones$|^Positions$/.test(e.textContent));
        return dt && Number.parseInt(dt.nextElementSibling.textContent, 10) > n;
      },
      before,
      { polling: 20 },
    );
  }
}

async function open(page, title = "Which ground do you walk round?") {
  await page.goto("/go/demo/ground?view=round");
  await page.getByRole("heading", { level: 1, name: title }).waitFor();
}

/** Starts where she stands; the first position comes of itself. */
async function start(page, label = "Start walking") {
  await page.context().setGeolocation(place(0, 0));
  await page.getByRole("button", { name: label }).click();
  await positions(page).getByText(/^1\b/).waitFor();
}

const idsOf = async (page, kind) => new Set((await records(page, "demo", kind)).features.map((f) => f.id));
const newest = async (page, kind, known) => (await records(page, "demo", kind)).features.filter((f) => !known.has(f.id));

/** What the server itself measures of a block, m2. */
async function outline(page, id) {
  const report = await page.evaluate(async () => (await fetch("/farms/demo/reports/blocks.csv")).text());
  const [head, ...lines] = report.trim().split("\r\n");
  return Number(lines.find((l) => l.startsWith(id)).split(",")[head.split(",").indexOf("outline_m2")]);
}

async function storeAs(page, name) {
  await page.getByRole("radio", { name: "Take the line as an outline" }).check();
  await page.getByLabel("Name", { exact: true }).fill(name);
  await page.getByRole("button", { name: "Store 1 block", exact: true }).click();
  await page.getByText(/^1 block stored from walk-/).waitFor();
}

test("a walk with a lost fix and a jump in it, broken by a reload, becomes a block of the right area", async () => {
  const page = await grower(phone);
  const known = await idsOf(page, "blocks");
  await page.getByRole("button", { name: "Walk round a block" }).click();
  await start(page);
  const [, ...first] = round(0, 0.5);
  await walk(page, first.slice(0, 4));
  await walk(page, [place(0, 0, { longitude: 0, latitude: 0 })]);
  await walk(page, first.slice(4, 7));
  await walk(page, [place(900, 700)]);
  await walk(page, first.slice(7));
  await positions(page).getByText("2 look wrong", { exact: false }).waitFor();
  await page.getByText("Good to about 13 ft", { exact: true }).waitFor();

  await page.reload();
  await page.getByText(/^The walk of .* is on this device\.$/).waitFor();
  assert.equal(await counted(page), first.length + 3, "all that was recorded is still here");
  await page.getByRole("button", { name: "← Blocks" }).click();
  await page.getByRole("button", { name: /^Go on with the walk of / }).click();
  await page.getByRole("button", { name: "Go on walking" }).click();
  await walk(page, round(0.5, 1));
  await page.getByRole("button", { name: "Stop and see the outline" }).click();

  await page.getByRole("heading", { level: 1, name: "What ground did you walk round?" }).waitFor();
  for (const said of [
    "1 fix(es) at longitude and latitude zero were left out",
    "1 fix(es) that jump away and back",
    "its last fix and its first lie 10.0 m apart",
    "gave its accuracy as about 4.0 m",
  ]) {
    await page.getByText(said, { exact: false }).first().waitFor();
  }
  await page.getByText("An outline walked with a phone is good to some metres", { exact: false }).waitFor();
  assert.ok(await page.getByRole("radio", { name: "Leave it out" }).isChecked(), "nothing is taken before she says so");
  await storeAs(page, "Walked");
  const [block] = await newest(page, "blocks", known);
  assert.equal(block.properties.accuracy_m, accuracy);
  assert.equal(block.properties.accuracies_m, undefined);
  const got = await outline(page, block.id);
  assert.ok(Math.abs(got - width * depth) <= 0.01 * width * depth, `${got} m2, want ${width * depth} within 1 %`);

  // Undone, the walk is still there to be looked at again.
  await page.getByRole("button", { name: "Undo import" }).click();
  await page.getByText(/^The import is undone/).waitFor();
  await page.getByRole("button", { name: "Walk round a block" }).click();
  await page.getByText(/stored already, is still on this device/).waitFor();
  await page.getByRole("button", { name: "See the outline" }).click();
  await page.getByRole("radio", { name: "Take the line as an outline" }).waitFor();
});

test("a walk that does not come back is no block; she goes on, or takes it as a track", async () => {
  const page = await grower(phone);
  const [blocks, tracks] = [await idsOf(page, "blocks"), await idsOf(page, "tracks")];
  await open(page);
  await start(page);
  const [, ...part] = round(0, 0.55);
  await walk(page, part);
  await page.getByRole("button", { name: "Stop and see the outline" }).click();
  await page.getByText("The walk goes round no ground", { exact: false }).waitFor();
  await page.getByRole("button", { name: "Go on walking" }).click();
  await page.getByText("Paused: nothing is recorded").waitFor();
  assert.equal(await counted(page), part.length + 1);

  await page.getByRole("button", { name: "See the outline" }).click();
  await page.getByText("The walk goes round no ground", { exact: false }).waitFor();
  await page.locator("#import-kind").selectOption("tracks");
  await page.getByRole("button", { name: "Read it again so" }).click();
  await page.getByRole("button", { name: "Store 1 track", exact: true }).click();
  await page.getByText(/^1 track stored from walk-/).waitFor();
  assert.equal((await newest(page, "tracks", tracks)).length, 1);
  assert.deepEqual(await newest(page, "blocks", blocks), []);
});

test("in a pause nothing is recorded, the last can be left out, and a walk thrown away comes back by undo", async () => {
  const page = await grower({ size: sizes.laptop });
  await page.addInitScript(() => {
    Object.defineProperty(navigator, "wakeLock", { value: { request: async () => ({ release: async () => (window.released = true) }) } });
  });
  await open(page);
  await start(page);
  await page.getByText("The screen stays on while it records.").waitFor();
  await walk(page, [place(10, 0), place(20, 0)]);
  await page.getByRole("button", { name: "Pause" }).click();
  await page.context().setGeolocation(place(500, 0));
  await page.waitForTimeout(500);
  assert.equal(await counted(page), 3);
  assert.ok(await page.evaluate(() => window.released), "the screen may go dark again");
  await page.getByRole("button", { name: "Leave out last" }).click();
  assert.equal(await counted(page), 2);
  await page.getByText("An outline needs 3 positions at least.").waitFor();
  assert.ok(await page.getByRole("button", { name: "See the outline" }).isDisabled());
  await page.getByRole("button", { name: "Throw this walk away" }).click();
  await page.getByRole("button", { name: "Start walking" }).waitFor();
  assert.equal(await page.evaluate(() => Object.keys(localStorage).filter((k) => k.startsWith("caneward.round")).length), 0);
  await page.getByRole("button", { name: "Undo", exact: true }).click();
  await page.getByText(/^The walk of .* is on this device\.$/).waitFor();
  assert.equal(await counted(page), 2);

  await page.getByRole("button", { name: "Go on walking" }).click();
  await page.getByText("Recording", { exact: true }).waitFor();
  await page.getByRole("navigation").getByRole("link", { name: "Walk", exact: true }).click();
  await page.getByText("The walk is paused, since its page was left.").waitFor();
});

test("where no position comes it says why, and drawing is offered", async () => {
  const refused = await grower({ permissions: [] });
  await open(refused);
  await refused.getByRole("button", { name: "Start walking" }).click();
  await refused.getByRole("alert").getByText("may not tell the position", { exact: false }).waitFor();
  await refused.getByRole("button", { name: "Draw or type the outline" }).click();
  await refused.getByRole("heading", { level: 1, name: "Which ground is the new block?" }).waitFor();
  await refused.getByRole("button", { name: "Walk round it instead" }).click();
  await refused.getByRole("button", { name: "Start walking" }).waitFor();

  const plain = await grower();
  await plain.addInitScript(() => Object.defineProperty(window, "isSecureContext", { value: false }));
  await open(plain);
  await plain.getByRole("alert").getByText("plain http", { exact: false }).waitFor();
  assert.ok(await plain.getByRole("button", { name: "Start walking" }).isDisabled());
});

test("without a network the walk stays and can be sent again", async () => {
  const page = await grower();
  await open(page);
  await start(page);
  const [, ...all] = round();
  await walk(page, all);
  await page.route("**/imports", (r) => r.abort());
  await page.getByRole("button", { name: "Stop and see the outline" }).click();
  await page.getByRole("alert").waitFor();
  await page.unroute("**/imports");
  await page.getByRole("button", { name: "← The walk" }).click();
  await page.getByRole("button", { name: "See the outline" }).click();
  await page.getByRole("radio", { name: "Take the line as an outline" }).waitFor();
});

for (const [name, size] of Object.entries({ "phone of 412 px": sizes.phone, "phone of 360 px": small, laptop: sizes.laptop })) {
  test(`walking round keeps WCAG 2.2 A and AA and its targets on a ${name}, in both languages`, async () => {
    const english = await englishOnly();
    const page = await grower({ size, ...(name === "laptop" ? {} : phone) });
    const wrong = [];
    const look = async (where, spanish) => {
      wrong.push(...(await brokenRules(page)).map((r) => `${where}: ${r}`));
      const low = await page.locator("main").evaluate((sheet) =>
        [...sheet.querySelectorAll(".round button, .action-bar button")].filter((el) => el.getBoundingClientRect().height < 55.5).map((el) => el.textContent),
      );
      wrong.push(...low.map((l) => `${where}: “${l}” is lower than 56 px`));
      const [wide, room] = await page.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
      if (wide > room) wrong.push(`${where}: ${wide} px wide on ${room}`);
      if (process.env.SHOTS) await page.screenshot({ path: `${process.env.SHOTS}/${size.width}-${where.replace(/\W+/g, "-")}.png` });
      if (spanish) wrong.push(...(await englishLeft(page, english)).map((x) => `${where}: English ${x}`));
      else wrong.push(...(await textsOf(page)).filter((x) => /[¿¡ñ]|recorrido|terreno|posición/i.test(x) && x !== "Español").map((x) => `${where}: Spanish “${x}”`));
    };
    const inSight = async (button) => {
      const below = await page.getByRole("button", { name: button, exact: true }).evaluate((b) => {
        document.querySelector(".sheet-content").scrollTo(0, 0);
        return b.getBoundingClientRect().bottom - document.querySelector(".action-bar").getBoundingClientRect().top;
      });
      if (below > 0) wrong.push(`“${button}” lies ${below} px below what is seen`);
    };
    for (const [language, title, begin, pause, on, stop, away] of [
      ["en", "Which ground do you walk round?", "Start walking", "Pause", "Go on walking", "Stop and see the outline", "Throw this walk away"],
      ["es", "¿Qué terreno rodea?", "Empezar a caminar", "Pausa", "Seguir andando", "Parar y ver el contorno", "Desechar este recorrido"],
    ].filter(([language]) => languagesOn(name !== "laptop").includes(language))) {
      const spanish = language === "es";
      await speak(page, language);
      await open(page, title);
      await look(`${language} before`, spanish);
      await start(page, begin);
      const [, ...most] = round(0, 0.9);
      await walk(page, most);
      await page.waitForTimeout(400);
      await look(`${language} walking`, spanish);
      await inSight(pause);
      await page.getByRole("button", { name: pause, exact: true }).click();
      await inSight(on);
      await look(`${language} paused`, spanish);
      await page.getByRole("button", { name: on }).click();
      await walk(page, [place(0, 20), place(0, 10), place(0, 5, { accuracy: 40 })]);
      await look(`${language} poor`, spanish);
      await page.getByRole("button", { name: stop }).click();
      await page.locator("#import-shape-1").waitFor();
      await page.waitForTimeout(400);
      await look(`${language} proposed`, spanish);
      await page.getByRole("button", { name: on }).click();
      await page.getByRole("button", { name: away }).click();
    }
    assert.deepEqual(wrong, []);
  });
}

test("no error reached the console", () => assert.deepEqual(opened.flat().filter((f) => !/net::ERR_FAILED/.test(f)), []));
