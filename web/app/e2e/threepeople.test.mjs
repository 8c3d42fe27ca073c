// Three people and a spring: a scout finds without a signal, an adviser confirms,
// signs the list the server works out, the owner acknowledges it, the crew ticks
// plants off without a signal, and next spring one has come up again and goes on
// the next list.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { englishLeft, englishOnly } from "./catalogue.mjs";
import { brokenRules, languagesOn, openBrowser, openWindow, serveDemo, sizes } from "./harness.mjs";
import { allSent, records, signIn, speak } from "./people.mjs";
import { cut, phone, weakLine } from "./weakline.mjs";

const blockName = "Hill Block";
let demo;
let browser;
let line;
let block;
let review;
const windows = [];

before(async () => {
  demo = await serveDemo();
  browser = await openBrowser();
  line = await weakLine(demo.base);
});
after(async () => {
  await browser?.close();
  await line?.close();
  await demo?.stop();
});

async function person(name, more = {}, base = demo.base) {
  const opened = await openWindow(browser, base, more);
  opened.context.setDefaultTimeout(30_000);
  windows.push({ name, faults: opened.faults });
  await signIn(opened.page, name);
  block ??= (await records(opened.page, "demo", "blocks")).features.find((f) => f.properties.name === blockName);
  return opened;
}

/** A phone with the page installed, whose line can be cut. */
async function aPhone(name) {
  line.down = false;
  const opened = await person(name, phone, line.base);
  await opened.page.waitForFunction(() => navigator.serviceWorker.controller !== null);
  return opened;
}

async function mend(page, context) {
  line.down = false;
  await context.setOffline(false);
  for (let i = 0; i < 20; i++) {
    if (await page.getByRole("button", { name: "All sent" }).isVisible()) return;
    await page.getByRole("button", { name: /waiting to send/ }).click({ timeout: 2000 }).catch(() => undefined);
    await page.getByRole("button", { name: "Send now" }).click({ timeout: 2000 }).catch(() => undefined);
    await page.getByRole("button", { name: "Close", exact: true }).click({ timeout: 2000 }).catch(() => undefined);
    await page.waitForTimeout(300);
  }
  await allSent(page);
}

const at = (view, place = "disease") => `/go/demo/${place}?block=${block.id}${view ? `&view=${view}` : ""}`;
const main = (page) => page.locator(".action-bar button");

test("the scout finds three plants and looks at the whole block, without a signal", async () => {
  const { page, context } = await aPhone("scout");
  await page.goto(at("", "walk"));
  await page.getByRole("radio", { name: "Orange rust" }).waitFor();
  await cut(line, context);
  await page.getByRole("button", { name: "Start a visit" }).click();
  await page.getByText(/^Visit since/).waitFor();
  await page.getByRole("radio", { name: "Orange rust" }).check();
  const save = page.getByRole("button", { name: /^Save Orange rust/ });
  for (let i = 0; i < 3; i++) {
    const before = await save.innerText();
    await page.getByRole("button", { name: "Plant: 1 on", exact: true }).click();
    await save.filter({ hasNotText: before }).waitFor();
    await save.click();
    await page.getByText("On this device: Orange rust", { exact: false }).waitFor();
  }
  await page.getByRole("button", { name: "Close the visit …" }).click();
  await page.getByLabel("The whole block, every row").check();
  await page.getByRole("button", { name: /^Close the visit with 3 finds/ }).click();
  await page.getByText("Visit closed, on this device.").waitFor();
  await mend(page, context);
  const finds = (await records(page, "demo", "finds", `&block=${block.id}&state=suspected&cause=orange-rust`)).features.filter((f) => f.properties.found_at > "2026-11-01");
  assert.equal(finds.length, 3);
  await context.close();
});

test("the adviser is offered nothing on suspicions, confirms two finds and signs what the server works out", async () => {
  const { page, context } = await person("adviser");
  await page.goto(at("sign"));
  await page.getByText("Nothing goes:", { exact: false }).waitFor();
  await page.getByText("until a laboratory's result is recorded", { exact: false }).waitFor();
  const finds = (await records(page, "demo", "finds", `&block=${block.id}&state=suspected&cause=orange-rust`)).features
    .filter((f) => f.properties.found_at > "2026-11-01")
    .sort((a, b) => a.properties.plant - b.properties.plant);
  for (const f of finds.slice(0, 2)) {
    await page.goto(at(`find:${f.id}`));
    await page.getByLabel("Why (what you saw", { exact: false }).fill("waxy orange pustules, leaves only");
    await page.getByRole("button", { name: "Confirm this find" }).click();
    await page.getByText("Saved: confirmed.").waitFor();
  }
  await page.getByRole("button", { name: "Find the groups" }).click();
  await page.getByRole("button", { name: "Sign this list …" }).click();
  await page.getByRole("table", { name: "2 plants go" }).waitFor();
  await page.getByText("1 find(s) are only suspected", { exact: false }).waitFor();
  await main(page).click();
  const box = page.getByRole("dialog");
  await box.getByRole("button", { name: "Sign for 2 plants" }).click();
  await box.getByText("A signed decision needs its reasons.").waitFor();
  await box.getByLabel("Reasons").fill("Two plants confirmed in the field; dig before the pustules open.");
  await box.getByLabel("Your name, typed as a signature").fill("Adela Invented");
  await box.getByLabel(/^I have read the list of 2 plants/).check();
  await box.getByRole("button", { name: "Sign for 2 plants" }).click();
  await page.getByText("Signed. What it rests on is frozen.").waitFor();
  const signed = (await records(page, "demo", "reviews", `&block=${block.id}`)).features;
  assert.equal(signed.length, 1);
  review = signed[0];
  assert.deepEqual(review.properties.list.remove.map((p) => [p.row, p.plant, p.why]), finds.slice(0, 2).map((f) => [f.properties.row, f.properties.plant, "confirmed"]));
  await page.getByText("2 plants are out", { exact: false }).or(page.getByText("0 of 2 plants are out")).waitFor();
  const pdf = await page.evaluate(async (id) => {
    const answer = await fetch(`/farms/demo/reports/removal-review.pdf?review=${id}&lang=es`);
    return [answer.status, answer.headers.get("Content-Type"), (await answer.arrayBuffer()).byteLength];
  }, review.id);
  assert.deepEqual(pdf.slice(0, 2), [200, "application/pdf"]);
  await context.close();
});

test("the owner acknowledges it", async () => {
  const { page, context } = await person("grower");
  await page.goto(at("decisions"));
  await page.getByRole("button", { name: new RegExp(blockName) }).click();
  await page.getByRole("button", { name: "I have seen this decision" }).click();
  await page.getByText("Type your name.").waitFor();
  await page.getByLabel("Your name, typed as a signature").fill("G. Invented");
  await page.getByRole("button", { name: "I have seen this decision" }).click();
  await page.getByText(/^Acknowledged by G\. Invented/).waitFor();
  const now = (await records(page, "demo", "reviews", `&block=${block.id}`)).features[0];
  assert.equal(now.properties.seal, review.properties.seal);
  assert.deepEqual(now.properties.frozen, review.properties.frozen);
  await context.close();
});

test("the crew ticks the plants off without a signal, and takes a wrong tick back", async () => {
  const { page, context } = await aPhone("applicator");
  await page.goto(at(`crew:${review.id}`));
  const ticks = page.getByRole("checkbox", { name: /^Row \d+, plant \d+/ });
  await ticks.first().waitFor();
  await cut(line, context);
  assert.equal(await ticks.count(), 2);
  await ticks.nth(0).click();
  await page.getByText("1 of 2 plants are out").first().waitFor();
  await ticks.nth(0).click();
  await page.getByText("0 of 2 plants are out").first().waitFor();
  await ticks.nth(0).click();
  await ticks.nth(1).click();
  await page.getByText("2 of 2 plants are out").first().waitFor();
  const low = await ticks.evaluateAll((all) => all.filter((el) => el.getBoundingClientRect().height < 56).length);
  assert.equal(low, 0, "every tick is 56 px or higher");
  await mend(page, context);
  const out = (await records(page, "demo", "removals", `&review=${review.id}`)).features;
  assert.equal(out.length, 2);
  assert.ok(out.every((r) => r.properties.roots_out && r.properties.bagged && r.properties.done_on));
  await context.close();
});

test("next spring a look sees one come up again; it goes on the next list, and the page shows before and after", async () => {
  const { page, context } = await person("scout", { size: sizes.phone, hasTouch: true, isMobile: true });
  const year = Number(review.properties.signed_at.slice(0, 4)) + 1;
  await page.goto(at("regrowth"));
  await page.getByLabel("Looked on").fill(`${year}-04-08`);
  const look = page.getByRole("listitem", { name: new RegExp(`^${blockName}, row and plant`) }).first();
  await look.getByRole("button", { name: "It came back" }).click();
  await page.getByText("Kept. The plant goes back on the next list.").waitFor();
  await allSent(page);
  const back = (await records(page, "demo", "removals", `&review=${review.id}`)).features.find((r) => r.properties.checks);
  assert.deepEqual(back.properties.checks, [{ on: `${year}-04-08`, regrowth: true }]);
  await context.close();

  const adviser = await person("adviser");
  await adviser.page.goto(at("sign"));
  const again = back.properties.plants[0];
  const table = adviser.page.getByRole("table", { name: "1 plant goes" });
  await table.getByRole("row", { name: new RegExp(`${again.row}\\s+${again.plant}\\s+confirmed`) }).waitFor();
  await adviser.page.goto(at(`decisions:${review.id}`));
  await adviser.page.getByLabel(/^to\b/).fill(`${year}-05-01`);
  await adviser.page.getByText("2 of 2 plants taken out, 1 came back.").waitFor();
  await adviser.page.getByRole("img", { name: /^Share of confirmed plants/ }).waitFor();
  await adviser.context.close();
});

test("every one of these screens keeps WCAG 2.2 A and AA and its targets, in both languages, on both sizes", async () => {
  const broken = [];
  const shots = process.env.SHOTS;
  const english = await englishOnly();
  const { page, context } = await person("adviser");
  for (const lang of ["en", "es"]) {
    await speak(page, lang);
    for (const view of ["sign", "decisions", `decisions:${review.id}`, `crew:${review.id}`, "regrowth"]) {
      await page.goto(at(view));
      await page.locator(".removals h1").waitFor();
      await page.waitForLoadState("networkidle");
      for (const [size, viewport] of Object.entries(sizes).filter(([name]) => languagesOn(name === "phone").includes(lang))) {
        await page.setViewportSize(viewport);
        const where = `${view.split(":")[0]}${view.includes(":") ? "-one" : ""}-${lang}-${size}`;
        const look = async (as) => {
          if (shots) await page.screenshot({ path: `${shots}/${as}.png` });
          broken.push(...(await brokenRules(page)).map((rule) => `${as}: ${rule}`));
        };
        await look(where);
        const low = await page.locator(".removals").first().evaluate((sheet) =>
          Array.from(sheet.querySelectorAll("button, select, summary, input:not([type=checkbox])"))
            .filter((el) => el.getBoundingClientRect().width > 0 && el.getBoundingClientRect().height < 43.5)
            .map((el) => el.textContent || el.id),
        );
        broken.push(...low.map((l) => `${where}: “${l}” is lower than 44 px`));
        if (view === "sign") {
          await main(page).click();
          await page.getByRole("dialog").waitFor();
          await look(`confirm-${lang}-${size}`);
          await page.keyboard.press("Escape");
        }
      }
      if (lang === "es") broken.push(...(await englishLeft(page, english)).map((x) => `${view}: ${x}`));
    }
  }
  await context.close();
  assert.deepEqual(broken, []);
  assert.deepEqual(windows.flatMap((w) => w.faults.filter((f) => !/net::ERR/.test(f)).map((f) => `${w.name}: ${f}`)), []);
});
