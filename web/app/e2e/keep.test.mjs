// The owner looks at how the farm is kept: takes everything away, reads who saw
// what, has the farm erased and keeps it after all; an empty farm takes the
// archive in.
import assert from "node:assert/strict";
import { mkdtemp, rm } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { englishLeft, englishOnly } from "./catalogue.mjs";
import { brokenRulesInTurn, openBrowser, openWindow, serveDemo, sizes } from "./harness.mjs";
import { records, signIn } from "./people.mjs";

const shots = process.env.SHOTS;
let demo;
let browser;
let page;
let faults;
let folder;
let english;

before(async () => {
  demo = await serveDemo();
  browser = await openBrowser();
  english = await englishOnly();
  folder = await mkdtemp(join(tmpdir(), "caneward-keep-"));
  ({ page, faults } = await openWindow(browser, demo.base));
  await signIn(page, "grower");
});
after(async () => {
  await browser?.close();
  await demo?.stop();
  if (folder) await rm(folder, { recursive: true, force: true });
});

const shot = async (name, of = page) => {
  if (!shots) return;
  await of.waitForTimeout(500);
  await of.screenshot({ path: `${shots}/${name}.png` });
};
const open = async (of = page, farm = "demo") => {
  await of.goto(`/go/${farm}/papers?view=keeping`);
  await of.getByRole("heading", { level: 1 }).waitFor();
  await of.waitForLoadState("networkidle");
};

test("everything is taken away in one file", async () => {
  await page.goto("/go/demo/papers");
  await page.getByRole("button", { name: "How the farm is kept" }).click();
  await page.getByRole("heading", { level: 1, name: "How is the farm kept?" }).waitFor();
  await page.getByText("This server makes no copies of the records by itself.", { exact: false }).waitFor();
  const started = page.waitForEvent("download");
  await page.getByRole("link", { name: "Everything (ZIP)" }).click();
  const file = await started;
  assert.equal(file.suggestedFilename(), "demo-everything.zip");
  await file.saveAs(join(folder, "everything.zip"));
  await shot("keep-laptop");
});

test("who saw what stands in a list", async () => {
  await open();
  const table = page.getByRole("table", { name: "The newest lines" });
  const line = table.getByRole("row").filter({ hasText: "everything" });
  assert.equal(await line.count(), 1);
  const link = page.getByRole("link", { name: /^The whole list \(\d+ lines, CSV\)$/ });
  assert.equal(await link.getAttribute("href"), "/farms/demo/reports/audit.csv");
  await table.scrollIntoViewIfNeeded();
  await shot("keep-seen-laptop");
});

test("a farm is erased only after a while, and not if its owner thinks better of it", async () => {
  await open();
  const erase = page.getByRole("button", { name: "Erase the farm in 30 days" });
  await page.getByLabel("Type the farm's id, demo").fill("my farm");
  await erase.click();
  await page.getByText("Type the farm's own id, demo, to have it erased.", { exact: false }).waitFor();
  await page.getByLabel("Type the farm's id, demo").fill("demo");
  await erase.click();
  await page.getByRole("button", { name: "Keep the farm after all" }).waitFor();
  const other = await openWindow(browser, demo.base, { size: sizes.phone });
  await signIn(other.page, "scout");
  await other.page.goto("/go/demo/ground");
  await other.page.getByRole("note", { name: "How the farm is kept" }).getByText("This farm will be erased on", { exact: false }).waitFor();
  await shot("keep-banner-phone", other.page);
  assert.deepEqual(await brokenRulesInTurn(other.page), []);
  await other.page.goto("/go/demo/papers");
  await other.page.getByRole("heading", { level: 1 }).waitFor();
  assert.equal(await other.page.getByRole("button", { name: "How the farm is kept" }).count(), 0);
  await other.context.close();
  await page.getByRole("button", { name: "Keep the farm after all" }).click();
  await page.getByText("The farm stays.", { exact: true }).waitFor();
  await erase.waitFor();
});

test("an empty farm takes the archive in", async () => {
  const next = await openWindow(browser, demo.base);
  await signIn(next.page, "neighbour");
  await open(next.page, "demo-two");
  const reply = next.page.waitForResponse((r) => r.url().endsWith("/farms/demo-two/history"));
  await next.page.getByLabel("Archive of a whole farm").setInputFiles(join(folder, "everything.zip"));
  await next.page.getByRole("button", { name: "Bring it in" }).click();
  assert.equal((await reply).status(), 200);
  await next.page.getByText("were brought in from an archive", { exact: false }).waitFor();
  const kept = await next.page.evaluate(async () => (await fetch("/farms/demo-two/keeping")).json());
  assert.equal(kept.empty, false);
  assert.equal(kept.history.chain, "demo");
  const [theirs, mine] = [await records(next.page, "demo-two", "blocks"), await records(page, "demo", "blocks")];
  assert.deepEqual(theirs.features.map((f) => f.id), mine.features.map((f) => f.id));
  assert.deepEqual(next.faults, []);
  await next.context.close();
});

for (const [name, size] of Object.entries(sizes)) {
  test(`the screen keeps WCAG 2.2 A and AA on a ${name}, in English and Spanish`, async () => {
    const { context, page: other, faults: wrong } = await openWindow(browser, demo.base, { size });
    await signIn(other, "grower");
    await open(other);
    await other.getByRole("table").first().waitFor();
    const broken = (await brokenRulesInTurn(other)).map((r) => `en: ${r}`);
    await shot(`keep-${name}`, other);
    await other.evaluate(() => [...document.querySelectorAll(".top-settings button")].find((b) => b.textContent === "Español").click());
    await other.getByText("Este servidor no hace copias", { exact: false }).waitFor();
    await other.getByText("Una línea es lo que una persona hizo", { exact: false }).waitFor();
    broken.push(...(await brokenRulesInTurn(other)).map((r) => `es: ${r}`));
    await other.getByRole("heading", { name: "Hacer borrar la finca" }).scrollIntoViewIfNeeded();
    await shot(`keep-end-${name}`, other);
    assert.deepEqual(broken, []);
    assert.deepEqual(await englishLeft(other, english), []);
    const small = await other.locator("main").evaluate((sheet) =>
      [...sheet.querySelectorAll("button, select, .keep-link, input")].flatMap((el) => {
        const r = el.getBoundingClientRect();
        return r.width > 0 && r.height < 44 && !el.closest("td, th") ? [`${el.textContent || el.id}: ${r.height} px`] : [];
      }),
    );
    assert.deepEqual(small, []);
    assert.deepEqual(wrong, []);
    await context.close();
  });
}

test("nothing went wrong on the way", () => assert.deepEqual(faults, []));
