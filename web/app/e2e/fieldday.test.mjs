// A scout's day without a signal, as she does it on her phone: finds with
// photos, rows looked at, counts by programme, a closed tab, a break that another
// phone ends, and a line that loses answers after the server has stored what was
// sent. What counts is what the server holds in the evening.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { brokenRules, brokenRulesInTurn, languagesOn, openBrowser, openWindow, serveDemo, sizes } from "./harness.mjs";
import { records, signIn, speak } from "./people.mjs";
import { cut, mend, phone, phoneOn, weakLine } from "./weakline.mjs";

let demo;
let browser;
let line;
let blocks;
let leaf;

before(async () => {
  demo = await serveDemo();
  browser = await openBrowser(["--host-resolver-rules=MAP farm-house.invalid 127.0.0.1"]);
  line = await weakLine(demo.base);
  const { context, page } = await openWindow(browser, demo.base);
  await signIn(page, "grower");
  blocks = (await records(page, "demo", "blocks")).features;
  leaf = await photograph(page);
  await context.close();
});
after(async () => {
  await browser?.close();
  await line?.close();
  await demo?.stop();
});

const block = (name) => blocks.find((b) => b.properties.name === name);
const walk = (of, view = "") => `/go/demo/walk?block=${of.id}${view && `&view=${view}`}`;

/**
 * A photo as a phone takes it: 2,400 by 1,800 px, with an Exif segment beside
 * it that says the place (CIPA DC-008: APP1 after SOI, "Exif", a TIFF header,
 * one tag 8825 that points to the place).
 */
async function photograph(page) {
  const bare = Buffer.from(
    await page.evaluate(async () => {
      const canvas = new OffscreenCanvas(2400, 1800);
      const pen = canvas.getContext("2d");
      for (let i = 0; i < 4000; i++) {
        pen.fillStyle = `hsl(${(i * 37) % 360} 60% ${20 + (i % 60)}%)`;
        pen.fillRect((i * 53) % 2400, (i * 97) % 1800, 90, 70);
      }
      const blob = await canvas.convertToBlob({ type: "image/jpeg", quality: 0.95 });
      return Array.from(new Uint8Array(await blob.arrayBuffer()));
    }),
  );
  const tiff = Buffer.from("4d4d002a00000008000188250004000000010000001a00000000", "hex");
  const body = Buffer.concat([Buffer.from("Exif\0\0"), tiff, Buffer.from("GPS 35 52 12 N")]);
  const head = Buffer.from([0xff, 0xe1, (body.length + 2) >> 8, (body.length + 2) & 0xff]);
  return { name: "leaf.jpg", mimeType: "image/jpeg", buffer: Buffer.concat([bare.subarray(0, 2), head, body, bare.subarray(2)]) };
}

const aPhone = (name = "scout", more = {}) => phoneOn(line, browser, name, more);

/** Keeps so many finds plant after plant, a photo with every seventh. */
async function keepFinds(page, from, to) {
  for (let i = from; i <= to; i++) {
    await page.getByRole("button", { name: "Plant: 1 on", exact: true }).tap();
    await page.getByLabel("In your own words").fill(`day ${i}`);
    if (i % 7 === 0 || i === 1) {
      await page.getByLabel("Take a photo").setInputFiles(leaf);
      await page.getByRole("img", { name: /^Photo 1, / }).waitFor();
    }
    const save = page.getByRole("button", { name: /^Save Orange rust/ });
    const plant = /row (\d+), plant (\d+)/.exec(await save.innerText())[0];
    await save.tap();
    await page.getByText(`On this device: Orange rust, ${plant}.`).waitFor();
  }
}

/** Counts by a programme, tap by tap, and keeps it. */
async function count(page, of, programme, taps) {
  await page.goto(walk(of, `count:${programme}`));
  for (const [name, times] of taps) for (let i = 0; i < times; i++) await page.getByRole("button", { name: new RegExp(name) }).tap();
  await page.getByText("Preview, worked out on this phone; the server's answer counts.").waitFor();
  await page.getByRole("button", { name: /^Keep the count: / }).tap();
  await page.getByText("Count kept, on this device.").waitFor();
}

/** Presses Send now until nothing waits: each failure makes the next try wait longer. */
async function sendAll(page) {
  await page.getByRole("button", { name: /waiting to send|All sent/ }).tap();
  const rest = page.getByText("Nothing waits on this device.", { exact: false });
  for (let i = 0; i < 40 && !(await rest.isVisible()); i++) {
    await page.getByRole("button", { name: "Send now" }).tap({ timeout: 2000 }).catch(() => undefined);
    await page.waitForTimeout(400);
  }
  await rest.waitFor();
  await page.getByRole("button", { name: "Close", exact: true }).tap();
}

/** Everything the server took of a farm, in its order. */
async function taken(page) {
  const all = [];
  for (let after = 0, more = true; more; ) {
    const got = await page.evaluate(async (n) => (await fetch(`/farms/demo/changes?after=${n}&limit=1000`)).json(), after);
    all.push(...got.changes);
    after = got.changes.at(-1)?.sequence ?? after;
    more = got.more;
  }
  return all;
}

test("a day of forty finds, six photos and two counts without a signal arrives once, whole and in order", async () => {
  const rows = block("Long Rows");
  const { context, page, faults } = await aPhone();
  const programmes = page.waitForResponse((r) => r.url().endsWith("/farms/demo/programmes"));
  await page.goto(walk(rows));
  await programmes;
  await page.getByRole("radio", { name: "Orange rust" }).waitFor();
  await cut(line, context);

  await page.getByRole("button", { name: "Start a visit" }).tap();
  await page.getByText(/^Visit since/).waitFor();
  await page.getByRole("radio", { name: "Orange rust" }).check();
  await keepFinds(page, 1, 20);
  await page.getByRole("button", { name: "Undo" }).tap();
  await page.getByText(/^Taken back/).waitFor();
  await page.getByRole("button", { name: "Plant: 1 back", exact: true }).tap();
  await keepFinds(page, 20, 20);
  await count(page, rows, "clipped-buds", [["One without", 11], ["One with it", 1]]);
  await page.close();

  const again = await context.newPage();
  await again.goto(walk(rows));
  await again.getByText(/^Visit since .* 20 finds on it so far/).waitFor();
  assert.equal(await again.getByRole("listitem").filter({ hasText: "looks like Orange rust, 1 light, row" }).count(), 20);
  await keepFinds(again, 21, 40);
  // Weevils on the tray may be more than the beats.
  await count(again, rows, "weevil-beats", [["One more looked at", 3], ["One more found", 5]]);
  assert.match(await again.locator(".count-answer").innerText(), /above the action level/);
  await again.getByRole("button", { name: "Visit", exact: true }).tap();
  await again.getByRole("button", { name: "Row 1, not looked at" }).tap();
  await again.getByRole("button", { name: "Row 2, not looked at" }).tap();
  await again.getByText(/^Not looked at: rows 3/).waitFor();
  await again.getByText("Preview, worked out on this phone.").waitFor();
  await again.getByRole("button", { name: "Close the visit with 40 finds" }).tap();
  await again.getByText("Visit closed, on this device.").waitFor();
  await again.getByText(/^[1-9]\d+ waiting to send$/).waitFor();

  line.seen.length = 0;
  line.lose(4, /^(POST .*\/changes|PUT .*\/photos\/)/);
  await mend(line, context);
  await sendAll(again);
  await again.getByText("Worked out on the server.").waitFor();
  const photos = line.seen.filter((s) => s.startsWith("PUT /farms/demo/photos/"));
  assert.ok(line.seen.filter((s) => s === "POST /farms/demo/changes").length > 1, "answers were lost");

  const changes = await taken(again);
  const mine = changes.filter((c) => c.kind === "finds" && c.record?.properties.words?.startsWith("day "));
  assert.deepEqual(mine.map((c) => `${c.record.properties.words} r${c.revision}`), Array.from({ length: 40 }, (_, i) => `day ${i + 1} r1`));
  const visits = (await records(again, "demo", "visits", `&block=${rows.id}`)).features.filter((v) => v.id === mine[0].record.properties.visit);
  assert.equal(visits.length, 1);
  const visit = visits[0].properties;
  assert.ok(mine.every((c) => c.record.properties.visit === visits[0].id));
  assert.deepEqual(visit.counts, [
    { what: "clipped-buds", sampled: 12, hits: 1 },
    { what: "weevil-beats", sampled: 3, hits: 5, several: true },
  ]);
  assert.deepEqual(visit.inspected.map((s) => s.row), [1, 2]);
  assert.deepEqual([visit.state, typeof visit.ended_at], ["closed", "string"]);

  const named = mine.flatMap((c) => c.record.properties.photos ?? []);
  assert.equal(named.length, 6);
  assert.equal(new Set(photos).size, 6, "every photo went out");
  for (const id of named) {
    const got = await again.evaluate(async (path) => {
      const answer = await fetch(path);
      const bytes = new Uint8Array(await answer.arrayBuffer());
      const picture = await createImageBitmap(new Blob([bytes]));
      return { status: answer.status, size: bytes.length, exif: new TextDecoder("latin1").decode(bytes).includes("Exif"), px: [picture.width, picture.height] };
    }, `/farms/demo/photos/${id}`);
    assert.deepEqual([got.status, got.exif, got.px], [200, false, [1600, 1200]]);
    assert.ok(got.size > 10_000 && got.size < 2_000_000, `${got.size} bytes`);
  }
  await again.reload();
  await again.getByText("All sent").waitFor();
  assert.equal((await taken(again)).length, changes.length, "nothing is sent again");
  assert.deepEqual(faults.filter((f) => !/net::ERR/.test(f)), []);
  await context.close();
});

test("a visit paused on one phone is gone on with and closed on another, nothing found", async () => {
  const of = block("Pond Block");
  const one = await aPhone();
  await one.page.goto(walk(of));
  await one.page.getByRole("button", { name: "Start a visit" }).tap();
  await one.page.getByRole("button", { name: "Visit", exact: true }).tap();
  await one.page.getByRole("button", { name: "Row 1, not looked at" }).tap();
  await one.page.getByRole("button", { name: "Pause" }).tap();
  await one.page.getByText(/Paused since/).waitFor();
  await one.page.getByText("All sent").waitFor();

  const two = await aPhone("adviser");
  await two.page.goto(walk(of));
  await two.page.getByRole("button", { name: /^Go on with the visit of .*, paused$/ }).tap();
  await two.page.getByRole("button", { name: "Go on", exact: true }).tap();
  await two.page.getByRole("button", { name: "Visit", exact: true }).tap();
  await two.page.getByRole("button", { name: "Row 1, looked at" }).waitFor();
  await two.page.getByRole("button", { name: "Row 3, not looked at" }).tap();
  await two.page.getByText("Only part of a row").tap();
  await two.page.getByRole("button", { name: "Row: 1 on", exact: true }).tap();
  await two.page.getByRole("button", { name: "Add row 2, plants 1 to 10" }).tap();
  await two.page.getByRole("button", { name: "Row 2, looked at in part" }).waitFor();
  await two.page.getByRole("button", { name: "Close the visit: nothing found" }).tap();
  await two.page.getByText("Worked out on the server.").waitFor();
  await two.page.getByText("Nothing found: that is a record too.").waitFor();
  await two.page.getByText(/^Not looked at: rows 4/).waitFor();

  const visit = (await records(two.page, "demo", "visits", `&block=${of.id}`)).features.find((v) => v.properties.pauses);
  assert.equal(visit.properties.pauses.length, 1);
  assert.ok(visit.properties.pauses[0].to >= visit.properties.pauses[0].from);
  assert.deepEqual(visit.properties.inspected.map((s) => [s.row, s.from === 1, s.to === 10]), [[1, true, false], [2, true, true], [3, true, false]]);
  await one.context.close();
  await two.context.close();
});

test("the way a phone went proposes rows, and only what the scout confirms is entered", async () => {
  const of = block("Long Rows");
  const { context, page } = await aPhone("scout", { permissions: ["geolocation"] });
  const row = (await records(page, "demo", "rows", `&block=${of.id}`)).features.find((r) => r.properties.number === 2);
  const [from, to] = [row.geometry.coordinates.at(0), row.geometry.coordinates.at(-1)];
  const at = (share) => ({ longitude: from[0] + share * (to[0] - from[0]), latitude: from[1] + share * (to[1] - from[1]), accuracy: 2 });
  await context.setGeolocation(at(0));
  await page.goto(walk(of));
  await page.getByRole("button", { name: "Start a visit" }).tap();
  await page.getByText(/^GPS:/).waitFor();
  for (let i = 1; i <= 12; i++) {
    await context.setGeolocation(at(i / 60));
    await page.waitForTimeout(150);
  }
  await page.getByRole("button", { name: "Visit", exact: true }).tap();
  await page.getByText("All sent").waitFor();
  await page.getByRole("button", { name: "Propose rows from my way" }).tap();
  await page.getByText(/^row 2: \d+ plants, \d+ % sure$/).waitFor();
  await page.getByRole("button", { name: "Row 2, not looked at" }).waitFor();
  await page.getByRole("button", { name: "Yes, I looked at these" }).tap();
  await page.getByRole("button", { name: "Row 2, looked at in part" }).waitFor();
  await page.getByRole("button", { name: "Close the visit: nothing found" }).tap();
  await page.getByText("Worked out on the server.").waitFor();
  const visit = (await records(page, "demo", "visits", `&block=${of.id}`)).features.find((v) => v.geometry);
  assert.equal(visit.geometry.type, "LineString");
  assert.ok(visit.geometry.coordinates.length > 3);
  assert.ok(visit.properties.inspected.some((s) => s.row === 2));
  await context.close();
});

test("on a full device the find is kept, the photo is left out, and the page says so", async () => {
  line.down = false;
  const { context, page } = await openWindow(browser, line.base, { ...phone, serviceWorkers: "block" });
  context.setDefaultTimeout(30_000);
  // Before the page opens: the browser remembers for a while how much room there was.
  const devtools = await context.newCDPSession(page);
  await devtools.send("Storage.overrideQuotaForOrigin", { origin: line.base, quotaSize: 4_000_000 });
  await signIn(page, "scout");
  await page.goto(walk(block("Gate Block")));
  await page.getByText("All sent").waitFor();
  await page.getByRole("radio", { name: "Crown gall" }).check();
  await cut(line, context);
  const left = page.getByText("Kept without 1 photo: this device has no room left for it.", { exact: false });
  let kept = 0;
  for (; kept < 20 && !(await left.isVisible()); kept++) {
    await page.getByRole("button", { name: "Plant: 1 on", exact: true }).tap();
    await page.getByLabel("Take a photo").setInputFiles(leaf);
    await page.getByRole("img", { name: /^Photo 1, / }).waitFor();
    await page.getByRole("button", { name: /^Save Crown gall/ }).tap();
    await page.getByText(`On this device: Crown gall, row 1, plant ${kept + 2}.`).waitFor();
  }
  await left.waitFor();
  assert.ok(kept > 1, "there was room for the first");
  assert.equal(await page.getByRole("listitem").filter({ hasText: "Crown gall" }).count(), kept, "every find is kept");
  await page.getByText(`${2 * kept - 1} waiting to send`).waitFor();
  await context.close();
});

test("over plain http on a network name the page says what the phone withholds, and what gives it back", async () => {
  line.down = false;
  const named = line.base.replace("127.0.0.1", "farm-house.invalid");
  const { context, page, faults } = await openWindow(browser, named, phone);
  await signIn(page, "scout");
  await page.goto(walk(block("Pond Block")));
  await page.getByText("Opened without https: this device gives no position here, and nothing is kept for work without a signal.").tap();
  const fix = await page.getByText(/--tls-cert and --tls-key/).innerText();
  assert.match(fix, /caneward serve --tls-self-signed/);
  assert.equal(await page.evaluate(() => isSecureContext), false);
  // Finds go straight to the server there.
  await page.getByRole("radio", { name: "Crown gall" }).check();
  await page.getByRole("button", { name: /^Save Crown gall/ }).tap();
  await page.getByText(/^On this device: Crown gall/).waitFor();
  assert.deepEqual(await brokenRulesInTurn(page), []);
  // The browser's own word on plain http.
  assert.deepEqual(faults.filter((f) => !f.includes("Cross-Origin-Opener-Policy")), []);
  await context.close();
});

for (const [name, size] of Object.entries(sizes)) {
  test(`every state of Walk keeps WCAG 2.2 A and AA and its targets on a ${name}, in both languages`, async () => {
    const touch = name === "phone" ? { hasTouch: true, isMobile: true } : {};
    const here = { longitude: -80.42, latitude: 35.87, accuracy: 4 };
    const { context, page, faults } = await openWindow(browser, demo.base, { size, geolocation: here, permissions: ["geolocation"], ...touch });
    context.setDefaultTimeout(30_000);
    await signIn(page, "scout");
    const bad = [];
    const look = async (state) => {
      bad.push(...(await brokenRules(page)).map((r) => `${state}: ${r}`));
      const small = await page.locator(".walk").evaluate((walked) =>
        [...walked.querySelectorAll("button, select, summary, textarea, label.file-button, .choice, input:not([type=radio], [type=checkbox], [type=file])")]
          .map((el) => [el.textContent || el.id, el.getBoundingClientRect()])
          .filter(([, r]) => r.width > 0 && (r.height < 55.5 || r.width < 44))
          .map(([text, r]) => `${text}: ${r.width} by ${r.height} px`),
      );
      bad.push(...small.map((s) => `${state}: ${s}`));
    };
    const of = block("Pond Block");
    for (const language of languagesOn(name === "phone")) {
      await speak(page, language);
      await page.goto(walk(of));
      const find = page.locator(".choice").first();
      await find.waitFor();
      await look(`${language} find`);
      await page.locator(".visit button").first().click();
      await page.locator(".visit p").filter({ hasText: /\d\d:\d\d/ }).waitFor();
      await find.click();
      await page.locator(".photos input").setInputFiles(leaf);
      await page.locator(".photo img").waitFor();
      await look(`${language} photo`);
      await page.locator(".action-bar .main").click();
      await page.locator(".said button").waitFor();
      await look(`${language} kept`);
      await page.locator(".buttons button[aria-pressed]").first().click();
      await page.getByRole("grid").waitFor();
      await look(`${language} row map`);
      await page.goto(walk(of, "count:clipped-buds"));
      await page.locator(".count-taps button").first().click();
      await page.locator(".count-taps button").last().click();
      await page.locator(".count-answer details").waitFor();
      await look(`${language} count`);
      await page.goto(walk(of, "visit"));
      await page.locator(".row-grid button").nth(1).click();
      await page.locator(".part-of-row summary").click();
      await look(`${language} visit`);
      await page.locator(".action-bar .main").click();
      await page.locator(".walk-sum .hint").waitFor();
      await look(`${language} summary`);
    }
    assert.deepEqual(bad, []);
    assert.deepEqual(faults, []);
    await context.close();
  });
}
