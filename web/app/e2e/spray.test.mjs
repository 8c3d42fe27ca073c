// An applicator types a label, drafts a pass whose setback withholds ground and whose
// overlap with an earlier pass breaks a cap, passes the stop with a reason, and reads the
// tank sheet; sprayers and the sums beside it. Figures are held against the formulas.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { englishLeft, englishOnly } from "./catalogue.mjs";
import { brokenRules, languagesOn, openBrowser, openWindow, serveDemo, sizes } from "./harness.mjs";
import { allSent, records, signIn, speak } from "./people.mjs";

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

// 200 m x 100 m at 36.13 degrees north; metres to a degree by the series of the WGS 84
// ellipsoid, as in planting.test.mjs.
const start = [-86.4, 36.13];
const place = (east, north) => [start[0] + east / 90_014.5, start[1] + north / 110_961.4];
const box = (x0, y0, x1, y1) => ({ type: "Polygon", coordinates: [[place(x0, y0), place(x1, y0), place(x1, y1), place(x0, y1), place(x0, y0)]] });
const ids = { block: "019b2222-0000-7000-8000-000000000001", water: "019b2222-0000-7000-8000-000000000002", pass: "019b2222-0000-7000-8000-000000000003" };

async function put(page, kind, id, geometry, properties) {
  const answer = await page.evaluate(
    async ([path, body]) => {
      const got = await fetch(path, { method: "PUT", headers: { "Content-Type": "application/geo+json", "If-None-Match": "*" }, body: JSON.stringify(body) });
      return { status: got.status, text: await got.text() };
    },
    [`/farms/demo/collections/${kind}/items/${id}`, { type: "Feature", id, geometry, properties }],
  );
  assert.equal(answer.status, 201, answer.text);
}

const main = (page) => page.locator(".action-bar button");

test("a label typed, a draft with a setback and an overlap stop, the reason, the tank sheet", async () => {
  const page = await person("grower");
  await put(page, "blocks", ids.block, box(0, 0, 200, 100), { name: "Overlap Field", crop: "blackberry", row_spacing_m: 3, plant_spacing_m: 1 });
  await put(page, "surroundings", ids.water, { type: "LineString", coordinates: [place(-100, 110), place(300, 110)] }, { kind: "water", name: "North Ditch", drawn_by_eye: true });

  // The label: 10 oz an acre and year.
  await page.goto("/go/demo/pass?view=label:new");
  await page.getByRole("heading", { level: 2, name: "Type a label" }).waitFor();
  await page.getByLabel("Name", { exact: true }).fill("Demo Overlap 40WP");
  await page.getByLabel("Registration number").fill("0-0999");
  await page.getByLabel("Days before harvest (PHI)").fill("1");
  await page.getByLabel("Re-entry time, hours (REI)").fill("12");
  const ingredient = page.getByRole("group", { name: "ingredient 1" });
  await ingredient.getByLabel("Active ingredient").fill("myclobutanil");
  await ingredient.getByLabel("FRAC code").fill("3");
  await ingredient.getByLabel("How much of it").fill("40");
  await ingredient.getByLabel("Unit of the content").selectOption("percent");
  const rate = page.getByRole("group", { name: "rate 1" });
  // 2.4 oz of it an acre, which 6 oz of the product hold.
  await rate.getByLabel("Rate", { exact: true }).fill("2.4");
  await rate.getByLabel("Of which ingredient, if not of the product").fill("myclobutanil");
  await rate.getByLabel("Unit of the rate").selectOption("oz_wt");
  await rate.getByLabel("Per", { exact: true }).selectOption("acre");
  await page.getByRole("button", { name: "Add: cap" }).click();
  const cap = page.getByRole("group", { name: "cap 1" });
  await cap.getByLabel("What is capped").selectOption("product");
  await cap.getByLabel("At most").fill("ten");
  await cap.getByLabel("In", { exact: true }).selectOption("year");
  await main(page).click();
  await cap.getByText("Write a number, such as 12 or 12.5.").waitFor();
  await cap.getByLabel("At most").fill("10");
  await main(page).click();
  await cap.getByText("This is needed.").waitFor(); // the unit, by the server
  await cap.getByLabel("Unit of the cap").selectOption("oz_wt");
  await main(page).click();
  await page.getByRole("heading", { level: 2, name: "Labels", exact: true }).waitFor();
  await allSent(page);
  const label = (await records(page, "demo", "products")).features.find((f) => f.properties.name === "Demo Overlap 40WP");
  assert.deepEqual(label.properties.caps, [{ what: "product", value: 10, unit: "oz_wt", per: "year" }]);

  // Six ounces an acre lie on the first tenth of the field already.
  const tenth = 20 * 100;
  await put(page, "passes", ids.pass, box(-50, -10, 20, 120), {
    state: "applied", pattern: "broadcast", blocks: [ids.block], products: [{ product: label.id, rate: { value: 6, unit: "oz_wt", per: "acre" } }],
    started_at: "2026-04-10T08:00:00-04:00", ended_at: "2026-04-10T09:00:00-04:00", areas: { treated_m2: 4046.8564224 },
    totals: [{ product: label.id, amount: { value: 6, unit: "oz_wt" } }], people: { applicator: "Applicator (invented)", certification: "DEMO-0001" },
  });

  await page.goto(`/go/demo/pass?block=${ids.block}`);
  await page.getByLabel("From the records").selectOption({ label: "Demo Overlap 40WP" });
  assert.equal(await page.getByLabel("The rate is of").inputValue(), "myclobutanil");
  await page.getByLabel("How spray leaves the machine").selectOption("airblast");
  await page.getByRole("button", { name: "Add a setback" }).click();
  await page.getByLabel("Distance", { exact: true }).fill("50");
  await page.getByLabel("Spray (water and product)").fill("40");
  await page.getByLabel("Tank holds").fill("50");
  await page.getByLabel("Planned start").fill("2026-05-10T08:00");
  await main(page).click();
  await page.getByRole("heading", { name: "Tank sheet" }).waitFor();
  const result = page.locator("section[aria-live=polite]");
  const stop = result.locator(".checks li", { hasText: "caps it at" });
  const said = await stop.innerText();
  for (const words of ["12 oz wt", "10 oz wt", "Overlap Field", "2026-04-10", "10.0 %", "12 of 10 oz wt/acre"]) assert.ok(said.includes(words), `${words} in: ${said}`);
  await stop.getByRole("button", { name: "Show the place" }).click();
  assert.ok((await result.innerText()).includes("North Ditch"));
  if (process.env.CANEWARD_SHOTS) await page.screenshot({ path: `${process.env.CANEWARD_SHOTS}/pass-stop.png` });
  // By hand: 200 m x (100 - 5.24) m treated, 40 gal an acre in tanks of 50.
  const acres = (200 * 94.76) / 4046.8564224;
  // Cut to the tenth that the scale shows.
  const total = Number(/Demo Overlap 40WP\s+([\d.]+) oz \(weight\)/.exec(await result.innerText())?.[1]);
  assert.ok(total <= acres * 6 && total > acres * 6 - 0.2, `${total} oz, want ${acres * 6}`);
  const tanks = await result.getByText(/full tank/).first().innerText();
  assert.ok(tanks.includes(`${Math.floor((acres * 40) / 50)} full`), tanks);
  assert.match(await result.innerText(), /Exclusion zone: 100 ft/);
  assert.match(await result.innerText(), /Demo Overlap 40WP \(wettable powder\)/);

  await page.getByRole("button", { name: "Save as a draft" }).click();
  await result.getByText("Write why. The reason stays with the record.").waitFor();
  assert.equal((await records(page, "demo", "passes")).features.filter((f) => f.properties.blocks?.includes(ids.block)).length, 1, "a stop is not passed without a reason");
  await result.getByLabel("A check says stop. Why go on?").fill("The earlier pass was washed off within the hour; the adviser agreed.");
  await page.getByRole("button", { name: "Save as a draft" }).click();
  await page.getByRole("heading", { level: 2, name: /draft/i }).waitFor();
  await allSent(page);
  const saved = (await records(page, "demo", "passes")).features.find((f) => f.properties.stop_reason);
  assert.equal(saved.properties.stop_reason, "The earlier pass was washed off within the hour; the adviser agreed.");
  assert.equal(saved.properties.labels[0].label.name, "Demo Overlap 40WP");
  assert.equal(saved.properties.labels[0].revision, 1);
  const check = saved.properties.checks.find((c) => c.rule === "cap");
  assert.ok(check.answer === "stop" && Math.abs(check.area_m2 - 20 * 94.76) < 2 && Math.abs(check.share - 0.1) < 0.001, JSON.stringify(check));
  assert.ok(Math.abs(saved.properties.areas.withheld_m2 - 200 * 5.24) < 2 && tenth > check.area_m2);
});

test("the grower says what the line of the ditch follows, how far the bank lies off, and how well it is known", async () => {
  const page = await person("grower");
  await page.goto(`/go/demo/ground?view=near:${ids.water}`);
  await page.getByLabel("The line may lie off by").fill("10");
  await page.getByLabel("The line follows").selectOption({ label: "the edge of the water" });
  await page.getByLabel("From the line to the top of the bank").fill("x");
  await page.getByText("One of the lengths is no number.").waitFor();
  await page.getByLabel("From the line to the top of the bank").fill("5");
  await main(page).click();
  await page.getByText("North Ditch", { exact: false }).first().waitFor();
  await page.locator(".said").waitFor();
  await allSent(page);
  const { follows, bank_m, accuracy_m, kind, name } = (await records(page, "demo", "surroundings")).features.find((f) => f.id === ids.water).properties;
  assert.deepEqual([kind, name, follows], ["water", "North Ditch", "water-edge"]);
  assert.ok(Math.abs(bank_m - 5 * 0.3048) < 1e-9 && Math.abs(accuracy_m - 10 * 0.3048) < 1e-9, `${bank_m} ${accuracy_m}`);
});

test("a sprayer is named and calibrated, and a sum shows its formula and source", async () => {
  const page = await person("applicator");
  await page.goto("/go/demo/pass?view=sprayers");
  await page.getByLabel("Name of the sprayer").fill("Tower");
  await page.getByLabel("How spray leaves the machine").selectOption("airblast");
  await main(page).click();
  await page.getByRole("heading", { level: 3, name: "Tower" }).waitFor();
  await page.getByRole("button", { name: "Calibrate" }).click();
  await page.getByLabel("Day", { exact: true }).fill("2026-04-01");
  await page.getByLabel("Nozzle output, gal/min").fill("0.5");
  await page.getByLabel("Speed, mph").fill("4");
  await page.getByLabel("Width one nozzle sprays, in").fill("20");
  await page.getByLabel("Caught of each nozzle").fill("64 66 50 65");
  await page.getByRole("button", { name: "Save the calibration" }).click();
  await page.getByText("37.13 gal/acre").waitFor(); // 5,940 x 0.5 / (4 x 20)
  await page.getByText("nozzle 3 is more than 10 % off the mean").waitFor();

  await page.getByRole("button", { name: "Sums" }).click();
  await page.getByRole("button", { name: "Treated acres of a band job" }).click();
  await page.getByLabel("Block, acres").fill("60");
  await page.getByLabel("Width of the band, in").fill("-36");
  await page.getByLabel("Row spacing, ft").fill("9");
  await main(page).click();
  await page.getByText(/must be a number between/).first().waitFor();
  await page.getByLabel("Width of the band, in").fill("36");
  await main(page).click();
  await page.getByText("20 acre", { exact: true }).waitFor();
  await page.getByText("block acres x (band in / 12) / row spacing ft").waitFor();
  await page.getByText(/Cornell/).waitFor();
});

const screens = ["", "?view=labels", "?view=label:new", "?view=sprayers", "?view=calc", "?view=calc:convert"];
for (const [name, size] of Object.entries(sizes)) {
  test(`no screen of the pass breaks a WCAG rule, on the ${name}, in both languages`, async () => {
    const broken = [];
    for (const language of languagesOn(name === "phone")) {
      const opened = await openWindow(browser, demo.base, { size });
      windows.push({ name: `${name} ${language}`, faults: opened.faults });
      await signIn(opened.page, "grower");
      await speak(opened.page, language);
      for (const screen of screens) {
        await opened.page.goto(`/go/demo/pass${screen}`);
        await opened.page.locator("h1").waitFor();
        await opened.page.waitForLoadState("networkidle");
        broken.push(...(await brokenRules(opened.page)).map((r) => `${screen} ${size.width}: ${r}`));
        const small = await opened.page.evaluate(() =>
          [...document.querySelectorAll(".pass button, .pass input:not([type=checkbox]), .pass select")].filter((e) => e.checkVisibility() && !e.matches(".small, .link") && e.getBoundingClientRect().height < 43.5).map((e) => e.outerHTML.slice(0, 80)),
        );
        broken.push(...small.map((e) => `${screen} ${size.width}: under 44 px: ${e}`));
        if (process.env.CANEWARD_SHOTS) await opened.page.screenshot({ path: `${process.env.CANEWARD_SHOTS}/pass${screen.replace(/\W+/g, "-")}-${language}-${size.width}.png` });
        if (language === "es") broken.push(...(await englishLeft(opened.page, english)).map((x) => `${screen}: English left: ${x}`));
      }
      await opened.context.close();
    }
    assert.deepEqual(broken, []);
  });
}
const english = (await englishOnly()).filter((e) => e.key.startsWith("label-") || e.key.startsWith("calc-") || e.key.startsWith("sprayer-") || e.key.startsWith("pass-"));

test("no window reported a fault", () => {
  assert.deepEqual(windows.flatMap((w) => w.faults.map((f) => `${w.name}: ${f}`)), []);
});
