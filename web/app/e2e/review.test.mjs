// The adviser reviews a block: what each choice would cost and how a setting
// changes it, an earlier day, suspected finds alone, list and row map pointing at
// each other. Figures on the page are held against the server's own answers.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { englishLeft, englishOnly } from "./catalogue.mjs";
import { brokenRulesInTurn, openBrowser, openWindow, serveDemo, sizes } from "./harness.mjs";
import { records, signIn } from "./people.mjs";

const shots = process.env.SHOTS;
let demo;
let browser;
let page;
let faults;
let english;
const blocks = {};

before(async () => {
  demo = await serveDemo();
  browser = await openBrowser();
  english = await englishOnly();
  ({ page, faults } = await openWindow(browser, demo.base));
  await signIn(page, "adviser");
  for (const b of (await records(page, "demo", "blocks")).features) blocks[b.properties.name] = b.id;
});
after(async () => {
  await browser?.close();
  await demo?.stop();
});

const shot = async (name, of = page) => {
  if (!shots) return;
  await of.waitForTimeout(700);
  await of.screenshot({ path: `${shots}/${name}.png` });
};
const open = async (block, of = page) => {
  await of.goto(`/go/demo/disease?block=${blocks[block]}`);
  await of.getByRole("heading", { level: 1 }).waitFor();
  await of.waitForLoadState("networkidle");
};
/** What the server says to what `act` brings about, and what it was asked. */
const answered = async (act, of = page) => {
  const reply = of.waitForResponse((r) => r.url().endsWith("/hot-spots") && r.status() === 200);
  await act();
  const r = await reply;
  return { ...(await r.json()), asked: r.request().postDataJSON() };
};
const run = (of = page) => answered(() => of.getByRole("button", { name: "Find the groups" }).click(), of);
const costs = async () => {
  const lines = await page.getByRole("table", { name: "What each choice would cost" }).locator("tbody tr").all();
  return Promise.all(lines.map((l) => l.locator("th, td").allInnerTexts()));
};

test("each choice shows what it costs, and a changed setting what it adds", async () => {
  await open("Long Rows");
  const first = await run();
  assert.deepEqual((await costs()).map((l) => Number(l[1].replaceAll(",", ""))), first.choices.map((c) => c.plants));
  assert.deepEqual(first.choices.map((c) => c.name).filter((n) => n !== "section"), ["confirmed", "between", "margin", "planting"]);
  await page.locator("summary").getByText("Settings", { exact: true }).click();
  const margin = page.getByLabel("Plants to list beyond the last confirmed one of a row");
  const second = await answered(() => margin.fill("2"));
  assert.equal(second.asked.margin_plants, 2);
  await page.getByRole("row", { name: /^… and the margin/ }).getByText(/^\+/).waitFor();
  const line = (await costs()).find((l) => l[0] === "… and the margin");
  const [was, is] = [first, second].map((a) => a.choices.find((c) => c.name === "margin"));
  assert.ok(is.plants > was.plants);
  assert.equal(line[3], `+${is.plants - was.plants}`);
  const [feet, share] = line[2].split("\n");
  assert.equal(Number(feet.replace(/[^\d]/g, "")), Math.round(is.row_length_m / 0.3048));
  assert.equal(share, `${Number((100 * is.share_of_block).toFixed(1))} %`);
  await page.getByText(`+${is.plants - was.plants} against the settings before.`, { exact: false }).waitFor();
  const foot = await page.locator(".cost-line").boundingBox();
  const sheet = await page.locator(".sheet-content").boundingBox();
  assert.ok(Math.abs(foot.y + foot.height - sheet.y - sheet.height) <= 1, "the cost stays at the sheet's foot while settings are changed");
  // No group is called a hot spot without how likely chance is.
  for (const g of second.groups) {
    assert.match(g.chance, /reshuffles|not known|No window/);
    await page.getByText(g.chance, { exact: false }).first().waitFor();
  }
  const third = await answered(() => page.getByLabel("Limit for taking out a section").fill("5"));
  assert.equal(third.asked.section_limit, 0.05);
  await shot("review-map-laptop");
});

test("the list and the row map point at each other", async () => {
  await page.getByRole("button", { name: "Row map" }).click();
  const grid = page.getByRole("grid");
  await grid.waitFor();
  const list = page.getByRole("table", { name: /^The list, plant by plant/ });
  const button = list.getByRole("button", { name: /^Show row \d+, plant \d+ on the map$/ }).first();
  const [row, plant] = (await button.getAttribute("aria-label")).match(/\d+/g).map(Number);
  await button.click();
  assert.equal(await grid.getAttribute("aria-activedescendant"), `plant-${row}-${plant}`);
  await shot("review-rows-laptop");
  await grid.focus();
  await page.keyboard.press("Home");
  const all = (await run()).list;
  const next = [...all.confirmed, ...all.between, ...all.margin, ...all.inspect].find((p) => p.row !== row);
  await page.getByRole("grid").focus();
  for (let n = 0; n < Math.abs(next.row - row); n++) await page.keyboard.press(next.row > row ? "PageDown" : "PageUp");
  await page.keyboard.press("Home");
  for (let n = 1; n < next.plant; n++) await page.keyboard.press("ArrowUp");
  const here = (await grid.getAttribute("aria-activedescendant")).match(/\d+/g).map(Number);
  assert.equal(here[0], next.row);
  const marked = [...all.confirmed, ...all.between, ...all.margin, ...all.inspect].some((p) => p.row === here[0] && p.plant === here[1]);
  const chosen = list.locator("tr[aria-current]");
  if (marked) assert.match(await chosen.innerText(), new RegExp(`^${here[0]}\\s+${here[1]}\\s`));
  else assert.equal(await chosen.count(), 0);
  assert.ok(marked, `row ${here[0]}, plant ${here[1]} is on the list`);
});

test("an earlier day is asked for, shown, and compared with today", async () => {
  const slider = page.getByRole("slider");
  const early = await answered(async () => {
    await slider.focus();
    await page.keyboard.press("Home");
    for (let n = 0; n < 3; n++) await page.getByRole("button", { name: "The day after" }).click();
  });
  assert.match(early.asked.as_of, /^2025-05-19T23:59:59/);
  const late = await answered(() => page.getByLabel("Compare with").selectOption({ label: "23 Jun 2026" }));
  assert.match(late.asked.as_of, /^2026-06-23T23:59:59/);
  const line = page.getByRole("table", { name: "Compare two days" }).getByRole("row", { name: /^Plants with finds that count/ });
  await line.waitFor();
  const cells = await line.getByRole("cell").allInnerTexts();
  assert.deepEqual(cells.map((c) => Number(c.replace("−", "-"))), [late.infected, early.infected, late.infected - early.infected]);
  await slider.focus();
  await answered(() => page.keyboard.press("End"));
});

test("suspected finds alone list nothing, and the page says what is missing", async () => {
  await open("Creek Block");
  await page.getByRole("checkbox", { name: "Orange rust" }).uncheck();
  await page.getByRole("checkbox", { name: "Crown gall" }).check();
  await page.getByRole("checkbox", { name: "suspected" }).check();
  const answer = await run();
  assert.deepEqual([answer.list.confirmed, answer.list.between, answer.list.margin, answer.choices], [[], [], [], []]);
  assert.ok(answer.infected > 0);
  await page.getByText("no plant is confirmed", { exact: false }).first().waitFor();
  await page.getByText("A laboratory's result or an adviser's own named confirmation is missing.", { exact: false }).first().waitFor();
});

test("the search ring is drawn, and a long run can be stopped", async () => {
  await open("Pond Block");
  await run();
  await page.getByText("Wild brambles round the block", { exact: true }).click();
  await page.getByLabel("Search ring round the confirmed plants").selectOption({ label: "600 ft" });
  await page.getByText("On a neighbour's land ask first", { exact: false }).waitFor();
  await shot("review-ring-laptop");
  await page.route("**/hot-spots", async () => {});
  await page.getByRole("button", { name: "Find the groups" }).click();
  await page.getByRole("button", { name: "Stop", exact: true }).click();
  await page.getByText("Stopped. Nothing was changed.").waitFor();
  await page.unroute("**/hot-spots");
  assert.deepEqual(faults, []);
});

for (const [size, viewport] of Object.entries(sizes)) {
  test(`the answered review keeps WCAG 2.2 A and AA on a ${size}, in English and Spanish`, async () => {
    const { context, page: other, faults: wrong } = await openWindow(browser, demo.base, { size: viewport });
    await signIn(other, "adviser");
    await open("Long Rows", other);
    await run(other);
    const broken = (await brokenRulesInTurn(other)).map((r) => `en: ${r}`);
    await shot(`review-${size}`, other);
    await answered(() => other.evaluate(() => [...document.querySelectorAll(".top-settings button")].find((b) => b.textContent === "Español").click()), other);
    await other.getByRole("heading", { level: 2, name: "Lo que costaría cada opción" }).waitFor();
    await other.getByRole("button", { name: "Mapa de hileras" }).click();
    await other.getByRole("grid").waitFor();
    await other.evaluate(() => document.querySelectorAll(".disease details").forEach((d) => (d.open = true)));
    broken.push(...(await brokenRulesInTurn(other)).map((r) => `es: ${r}`));
    await shot(`review-rows-${size}`, other);
    assert.deepEqual(broken, []);
    assert.deepEqual(await englishLeft(other, english), []);
    const small = await other.locator("main").evaluate((sheet) =>
      [...sheet.querySelectorAll("button, select, summary, input:not([type=checkbox], [type=radio])")].flatMap((el) => {
        const r = el.getBoundingClientRect();
        return r.width > 0 && r.height < 44 && !el.closest(".how, td, th") ? [`${el.textContent || el.id}: ${r.height} px`] : [];
      }),
    );
    assert.deepEqual(small, []);
    assert.deepEqual(wrong, []);
    await context.close();
  });
}
