// Pictures of the places with the demo farm: node e2e/screenshots.mjs FOLDER
// [WORD ...]. Without words the ones the README shows; with words those whose
// name holds one of them; "all" takes every one.
import { mkdir } from "node:fs/promises";
import { dirname, join, resolve } from "node:path";
import { fileURLToPath } from "node:url";
import { openBrowser, openWindow, serveDemo, sizes } from "./harness.mjs";
import { records, signIn } from "./people.mjs";

const cases = join(dirname(fileURLToPath(import.meta.url)), "..", "..", "..", "testdata", "cases", "files");
const readme = ["ground-laptop", "import-laptop", "import-system-phone", "planting-laptop", "rowmap-phone", "walk-phone", "walk-count-phone", "mayi-laptop", "disease-laptop", "pass-laptop", "papers-laptop"];

const [folder, ...only] = process.argv.slice(2);
if (!folder) {
  console.error("Say the folder the pictures go to.");
  process.exit(2);
}
await mkdir(folder, { recursive: true });

const demo = await serveDemo();
const browser = await openBrowser();
try {
  for (const [size, viewport] of Object.entries(sizes)) await takeAll(size, viewport);
} finally {
  await browser.close();
  await demo.stop();
}

async function takeAll(size, viewport) {
  const phone = size === "phone" ? { hasTouch: true, isMobile: true } : {};
  const { context, page, faults } = await openWindow(browser, demo.base, { size: viewport, ...phone });
  const wanted = (name) => {
    const full = `${name}-${size}`;
    return only.length === 0 ? readme.includes(full) : only.includes("all") || only.some((w) => full.includes(w));
  };
  const shot = async (name, scroll) => {
    if (!wanted(name)) return;
    if (scroll) await scroll.scrollIntoViewIfNeeded();
    await page.waitForTimeout(600);
    await page.screenshot({ path: join(folder, `${name}-${size}.png`) });
  };
  const open = async (path) => {
    await page.goto(path);
    await page.getByRole("heading", { level: 1 }).first().waitFor();
    await page.waitForLoadState("networkidle");
  };

  await page.goto("/");
  await page.getByRole("heading", { level: 1 }).waitFor();
  await shot("sign-in");
  await signIn(page, "grower");
  const blocks = (await records(page, "demo", "blocks")).features;
  const id = (name) => blocks.find((b) => b.properties.name === name).id;

  await open("/go/demo/ground");
  await shot("ground");
  await open(`/go/demo/ground?block=${id("Pond Block")}`);
  await shot("ground-block");
  for (const [name, file] of [["import", "V006-bowtie-symmetric.geojson"], ["import-system", "V060-shp-no-prj-degrees.zip"]]) {
    if (!wanted(name)) continue;
    await open("/go/demo/ground?view=import");
    await page.locator("#import-file").setInputFiles(join(cases, file));
    await page.getByRole("button", { name: `Read ${file}` }).click();
    await page.getByRole("button", { name: "Choose another file" }).waitFor();
    if (name === "import") await page.getByRole("radio", { name: "Take repaired" }).check();
    else await page.getByRole("radio").first().check();
    await shot(name, page.getByRole("radio").first());
  }
  if (wanted("planting")) {
    await open(`/go/demo/ground?block=${id("Pond Block")}&view=rows`);
    await page.getByRole("button", { name: "Compare", exact: true }).click();
    await page.getByRole("button", { name: /^Compare \d+ options$/ }).click();
    await page.getByRole("region", { name: "Side by side" }).waitFor();
    await shot("planting", page.getByRole("region", { name: "Side by side" }));
  }
  if (wanted("rowmap")) {
    await open(`/go/demo/ground?block=${id("Long Rows")}&view=plants`);
    await page.getByRole("grid").waitFor();
    await shot("rowmap");
  }
  await open("/go/demo/walk");
  await shot("walk-start");
  await open(`/go/demo/walk?block=${id("Long Rows")}`);
  await page.getByRole("radio", { name: "Orange rust" }).check();
  await shot("walk");

  await open(`/go/demo/disease?block=${id("Long Rows")}`);
  await shot("disease-question");
  if (wanted("disease") || wanted("disease-list")) {
    await page.getByRole("button", { name: "Find the groups" }).click();
    await page.getByRole("heading", { level: 2, name: "The list, plant by plant" }).waitFor({ timeout: 60_000 });
    // The group nearer to, so that its row segments show beside the marks.
    await page.getByRole("button", { name: "Show group 1 on the map" }).click();
    await page.getByRole("button", { name: "Closer" }).click();
    await shot("disease", page.getByRole("heading", { level: 3, name: "Against chance" }));
    await shot("disease-list", page.getByRole("table", { name: /^The list/ }));
  }

  await open(`/go/demo/walk?block=${id("Long Rows")}&view=count:clipped-buds`);
  if (wanted("walk-count")) {
    await page.getByRole("button", { name: "Start a visit" }).click();
    await page.locator(".visit p").filter({ hasText: /\d\d:\d\d/ }).waitFor();
    for (let n = 0; n < 12; n++) await page.locator(".count-taps button").first().click();
    await page.locator(".count-taps button").last().click();
    await shot("walk-count", page.locator(".count-answer"));
  }
  await open("/go/demo/pass");
  await shot("mayi");
  if (wanted("pass") || wanted("pass-form") || wanted("pass-tanks")) {
    await open("/go/demo/pass");
    await page.getByRole("checkbox", { name: "Creek Block" }).check();
    await page.getByLabel("Name on the label").fill("Demo product (invented)");
    await page.getByLabel("Rate", { exact: true }).fill("6.4");
    await page.getByLabel("Unit of the rate").selectOption({ label: "fl oz (volume)" });
    await page.getByRole("button", { name: "Add a setback" }).click();
    await page.getByLabel("Distance", { exact: true }).fill("50");
    await page.getByLabel("Spray (water and product)").fill("40");
    await page.getByLabel("Tank holds").fill("25");
    await shot("pass-form", page.getByLabel("Rate", { exact: true }));
    await page.getByRole("button", { name: "Work it out" }).click();
    await page.getByRole("heading", { level: 2, name: "What to measure out" }).waitFor();
    await page.waitForTimeout(600);
    await shot("pass");
    await shot("pass-tanks", page.getByRole("heading", { level: 2, name: "Checks" }));
  }

  for (const [name, at] of [["people", "papers?view=people"], ["keeping", "papers?view=keeping"], ["due", "papers?view=due"], ["decisions", "disease?view=decisions"], ["sprayers", "pass?view=sprayers"], ["label", "pass?view=label:new"], ["sums", "pass?view=sums"]]) {
    if (!wanted(name)) continue;
    await open(`/go/demo/${at}`);
    await shot(name);
  }
  await open("/go/demo/papers?view=finds");
  await shot("papers");
  await page.getByRole("table", { name: /^Finds/ }).getByRole("row").nth(1).getByRole("button").click();
  await page.getByRole("heading", { level: 2, name: /^Revisions of/ }).waitFor();
  await shot("papers-revisions", page.getByRole("heading", { level: 2, name: /^Revisions of/ }));
  await page.goto("/");
  await context.close();
  if (faults.length > 0) console.error(`${size}: ${faults.join("\n")}`);
}
console.log(resolve(folder));
