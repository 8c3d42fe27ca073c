// Every place, in both sizes and languages: nothing in English on a Spanish
// page, no WCAG 2.2 A or AA rule broken, no error in the console, targets large
// enough for a thumb.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { englishLeft, englishOnly } from "./catalogue.mjs";
import { brokenRules, languagesOn, openBrowser, openWindow, serveDemo, sizes } from "./harness.mjs";
import { records, signIn, speak } from "./people.mjs";

let demo;
let browser;
let english;
let block;
let find;
let pass;

before(async () => {
  english = await englishOnly();
  assert.ok(english.length > 300, `${english.length} texts to look for`);
  demo = await serveDemo();
  browser = await openBrowser();
  const { context, page } = await openWindow(browser, demo.base);
  await signIn(page, "grower");
  const blocks = (await records(page, "demo", "blocks")).features;
  block = blocks.find((f) => f.properties.name === "Long Rows") ?? blocks[0];
  find = (await records(page, "demo", "finds", `&block=${block.id}`)).features[0];
  pass = (await records(page, "demo", "passes")).features[0];
  await context.close();
});
after(async () => {
  await browser?.close();
  await demo?.stop();
});

const views = () => [
  ["ground", ""],
  ["ground", `?block=${block.id}`],
  ["ground", "?view=new"],
  ["ground", `?block=${block.id}&view=rows`],
  ["walk", ""],
  ["walk", `?block=${block.id}`],
  ["disease", ""],
  ["disease", `?block=${block.id}&view=find:${find.id}`],
  ["pass", ""],
  ["pass", `?block=${block.id}`],
  ["pass", `?view=pass:${pass.id}`],
  ["papers", ""],
  ["papers", "?view=finds"],
  ["papers", `?view=finds:${find.id}`],
  ["papers", "?view=visits"],
  ["papers", "?view=products"],
];

/** Opens a place and waits until nothing more is being fetched. */
async function open(page, place, query) {
  await page.goto(`/go/demo/${place}${query}`);
  await page.getByRole("heading", { level: 1 }).first().waitFor();
  await page.waitForLoadState("networkidle");
}

for (const [size, viewport] of Object.entries(sizes)) {
  test(`every place keeps WCAG 2.2 A and AA on a ${size}, and says nothing in English in Spanish`, async () => {
    const { context, page, faults } = await openWindow(browser, demo.base, { size: viewport });
    const broken = [];
    await page.goto("/");
    await page.getByRole("heading", { level: 1, name: "Who is working?" }).waitFor();
    broken.push(...(await brokenRules(page)).map((r) => `sign-in: ${r}`));
    await signIn(page, "grower");
    for (const language of languagesOn(size === "phone")) {
      await speak(page, language);
      for (const [place, query] of views()) {
        await open(page, place, query);
        broken.push(...(await brokenRules(page)).map((r) => `${language} ${place}${query}: ${r}`));
        if (language === "es") broken.push(...(await englishLeft(page, english)).map((x) => `${place}${query}: ${x}`));
      }
    }
    assert.deepEqual(broken, []);
    assert.deepEqual(faults, []);
    await context.close();
  });
}

test("answers say nothing in English on a Spanish page", async () => {
  const { context, page, faults } = await openWindow(browser, demo.base);
  const left = [];
  const look = async (where) => {
    left.push(...(await englishLeft(page, english)).map((x) => `${where}: ${x}`));
  };
  await signIn(page, "grower");
  await page.getByRole("button", { name: "Español" }).click();
  await page.locator("html[lang=es]").waitFor({ state: "attached" });
  await open(page, "disease", `?block=${block.id}`);
  await page.getByRole("button", { name: "Buscar los grupos" }).click();
  await page.getByRole("heading", { level: 2, name: "La lista, planta por planta" }).waitFor({ timeout: 60_000 });
  await look("disease, answered");
  await open(page, "pass", `?block=${block.id}`);
  await page.getByLabel("Nombre en la etiqueta").fill("Muestra");
  await page.getByLabel("Dosis", { exact: true }).fill("6");
  await page.getByLabel("Unidad de la dosis").selectOption({ label: "fl oz (volumen)" });
  await page.getByRole("button", { name: "Calcular" }).click();
  await page.getByRole("heading", { level: 2, name: "Qué medir" }).waitFor();
  await look("pass, worked out");
  await page.getByRole("button", { name: "Salir" }).click();
  await page.getByRole("heading", { level: 1, name: "¿Quién trabaja?" }).waitFor();
  await look("sign-in");
  assert.deepEqual([...new Set(left)], []);
  assert.deepEqual(faults, []);
  await context.close();
});

test("in Walk every target is 56 px high and 12 px from the next, the main action 72 px", async () => {
  const { context, page } = await openWindow(browser, demo.base, { size: sizes.phone, hasTouch: true, isMobile: true });
  await signIn(page, "scout");
  await open(page, "walk", `?block=${block.id}`);
  const main = await page.getByRole("button", { name: /^Save / }).boundingBox();
  assert.ok(main.height >= 72, `the main action is ${main.height} px high`);
  const small = await page.locator("main").evaluate((sheet) => {
    const out = [];
    for (const el of sheet.querySelectorAll(".walk button, .walk select, .walk input:not([type=radio], [type=checkbox]), .walk .choice")) {
      const r = el.getBoundingClientRect();
      if (r.width > 0 && r.height < 56) out.push(`${el.textContent || el.id}: ${r.height} px`);
    }
    return out;
  });
  assert.deepEqual(small, []);
  const close = await page.locator("main").evaluate((sheet) => {
    const boxes = [...sheet.querySelectorAll(".walk .choice, .walk .step")].map((el) => el.getBoundingClientRect());
    const gap = (a, b) => Math.max(Math.max(a.left, b.left) - Math.min(a.right, b.right), Math.max(a.top, b.top) - Math.min(a.bottom, b.bottom));
    return boxes.flatMap((a, i) => boxes.slice(i + 1).filter((b) => gap(a, b) < 11.5).map((b) => gap(a, b)));
  });
  assert.deepEqual(close, []);
  await context.close();
});
