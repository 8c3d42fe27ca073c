// The owner invites an adviser to one block; she accepts on her phone, sees that
// block and no other, sets up a second factor and signs in with it; taken off,
// the farm leaves her phone and her unsent work stays.
import assert from "node:assert/strict";
import { createHmac } from "node:crypto";
import { after, before, test } from "node:test";
import { englishLeft, englishOnly } from "./catalogue.mjs";
import { brokenRules, languagesOn, openBrowser, openWindow, serveDemo, sizes } from "./harness.mjs";
import { records, signIn } from "./people.mjs";

const shots = process.env.SHOTS;
let demo;
let browser;
let owner;
let adviser;
let english;
let link;

before(async () => {
  demo = await serveDemo();
  browser = await openBrowser();
  english = await englishOnly();
  owner = await openWindow(browser, demo.base);
  await signIn(owner.page, "grower");
});
after(async () => {
  await browser?.close();
  await demo?.stop();
});

const shot = async (name, page) => {
  if (!shots) return;
  await page.waitForTimeout(300);
  await page.screenshot({ path: `${shots}/${name}.png`, fullPage: true });
};
const people = async (page, farm = "demo") => {
  await page.goto(`/go/${farm}/papers?view=people`);
  await page.getByRole("heading", { level: 1 }).waitFor();
  await page.waitForLoadState("networkidle");
};

test("an invitation limits an adviser to one block, and is accepted once", async () => {
  const { page } = owner;
  await page.goto("/go/demo/papers");
  await page.getByRole("button", { name: "People and sign-in" }).click();
  await page.getByRole("heading", { level: 1, name: "Who sees this farm?" }).waitFor();
  await page.getByLabel("Whom the invitation is for").fill("the county adviser");
  await page.getByLabel("Only chosen blocks or seasons").check();
  const make = page.getByRole("button", { name: "Make the invitation" });
  assert.equal(await make.isDisabled(), true, "limited to nothing, no invitation is made");
  await page.getByRole("group", { name: "Blocks" }).getByLabel("Pond Block").check();
  await make.click();
  link = await page.locator(".secret code").innerText();
  assert.match(link, /\/go\/invitation#[\w-]{43}$/);
  await page.getByText("the county adviser: adviser", { exact: false }).waitFor();
  await shot("people-laptop", page);

  adviser = await openWindow(browser, demo.base, { size: sizes.phone });
  await adviser.page.goto(link);
  await adviser.page.getByRole("heading", { name: /^An invitation to/ }).waitFor();
  await adviser.page.getByText("blocks: Pond Block", { exact: false }).waitFor();
  assert.deepEqual(await brokenRules(adviser.page), []);
  await shot("people-accept-phone", adviser.page);
  await adviser.page.getByLabel("Name to sign in with").fill("ann");
  await adviser.page.getByLabel("Your name, as others see it").fill("Ann");
  await adviser.page.getByLabel("Password of your choice").fill("four dull words here");
  await adviser.page.getByRole("button", { name: "Accept with the new sign-in" }).click();
  await adviser.page.getByRole("navigation", { name: "Places" }).waitFor();
  const { features } = await records(adviser.page, "demo", "blocks");
  assert.deepEqual(features.map((f) => f.properties.name), ["Pond Block"]);
  const finds = await records(adviser.page, "demo", "finds");
  assert.ok(finds.features.length > 0 && finds.features.every((f) => f.properties.block === features[0].id), "finds of that block alone");

  const again = await openWindow(browser, demo.base);
  await again.page.goto(link);
  await again.page.getByText("was used", { exact: false }).waitFor();
  await again.context.close();
});

test("the block sheet says who sees it", async () => {
  const { page } = adviser;
  const { features } = await records(page, "demo", "blocks");
  await page.goto(`/go/demo/ground?block=${features[0].id}`);
  await page.getByText(/^Seen by: .*Ann \(adviser\)/).waitFor();
  const other = (await records(owner.page, "demo", "blocks")).features.find((f) => f.id !== features[0].id);
  await owner.page.goto(`/go/demo/ground?block=${other.id}`);
  const line = owner.page.getByText(/^Seen by: /);
  await line.waitFor();
  assert.doesNotMatch(await line.innerText(), /Ann/);
});

// RFC 6238 as an authenticator has it, written for this test alone.
function codeOf(typed, at) {
  const letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";
  const bits = [...typed.replaceAll(" ", "")].map((c) => letters.indexOf(c).toString(2).padStart(5, "0")).join("");
  const key = Buffer.from(bits.match(/.{8}/g).map((b) => parseInt(b, 2)));
  const counter = Buffer.alloc(8);
  counter.writeBigUInt64BE(BigInt(Math.floor(at / 30_000)));
  const sum = createHmac("sha1", key).update(counter).digest();
  const from = sum[19] & 15;
  return String((sum.readUInt32BE(from) & 0x7fffffff) % 1_000_000).padStart(6, "0");
}

test("a second factor is set up and asked for", async () => {
  const { page } = adviser;
  await people(page);
  await page.getByRole("heading", { name: "Second factor" }).waitFor();
  await page.getByLabel("Your password now").last().fill("four dull words here");
  await page.getByRole("button", { name: "Set up a second factor" }).click();
  const key = await page.locator(".secret code").innerText();
  await page.getByLabel("Six digits").fill(codeOf(key, Date.now()));
  await page.getByRole("button", { name: "Turn it on" }).click();
  await page.getByText("On; 10 recovery codes are left.").waitFor();
  const recovery = await page.locator(".secret code").first().innerText();
  await shot("people-factor-phone", page);

  const other = await openWindow(browser, demo.base);
  await other.page.goto("/");
  await other.page.getByLabel("Name", { exact: true }).fill("ann");
  await other.page.getByLabel("Password", { exact: true }).fill("four dull words here");
  await other.page.getByRole("button", { name: "Sign in" }).click();
  await other.page.getByLabel("Code", { exact: true }).waitFor();
  assert.deepEqual(await brokenRules(other.page), []);
  await other.page.getByLabel("Code", { exact: true }).fill(recovery);
  await other.page.getByRole("button", { name: "Sign in" }).click();
  await other.page.getByRole("navigation", { name: "Places" }).waitFor();
  await other.context.close();
});

test("a token reads the farm and nothing else", async () => {
  const { page } = owner;
  await people(page);
  await page.getByLabel("What the token is for").fill("my GIS");
  await page.getByRole("button", { name: "Make the token" }).click();
  const token = await page.locator(".secret code").innerText();
  assert.match(token, /^cwt_/);
  const asked = async (method, path) => (await fetch(demo.base + path, { method, headers: { Authorization: `Bearer ${token}`, Accept: "application/json" }, body: method === "GET" ? undefined : "{}" })).status;
  assert.equal(await asked("GET", "/farms/demo/collections"), 200);
  assert.equal(await asked("GET", "/farms/demo/people"), 403);
  assert.equal(await asked("POST", "/farms/demo/changes"), 403);
  await page.getByRole("button", { name: "End my GIS" }).click();
  await page.getByText("No tokens.").waitFor();
  assert.equal(await asked("GET", "/farms/demo/collections"), 401);
});

// A find in the block, as a phone keeps it while the server takes nothing.
const findId = "01900000-0000-7000-8000-000000000001";

test("taken off, the farm leaves the phone; what waits there is handed over as a file", async () => {
  const { page } = adviser;
  await page.goto("/go/demo/ground");
  await page.getByRole("button", { name: "All sent" }).waitFor();
  const { person } = await page.evaluate(async () => (await fetch("/sessions/current")).json());
  const block = (await records(page, "demo", "blocks")).features[0];
  const find = (await records(page, "demo", "finds")).features[0];
  const record = {
    type: "Feature",
    id: findId,
    geometry: find.geometry,
    properties: { block: block.id, cause: "other", state: "suspected", severity: 1, found_at: new Date().toISOString(), words: "handed over" },
  };
  const made = { op: "put", kind: "finds", farm: "demo", id: findId, record, base: null, made_at: new Date().toISOString() };
  await page.route("**/changes", (r) => (r.request().method() === "POST" ? r.fulfill({ status: 429, contentType: "application/problem+json", body: JSON.stringify({ type: "/problems/too-many", title: "later", status: 429 }) }) : r.continue()));
  await page.getByRole("button", { name: "All sent" }).click();
  await page.locator("input[type=file]").setInputFiles({ name: "work.json", mimeType: "application/json", buffer: Buffer.from(JSON.stringify({ kind: "caneward-unsent", version: 1, person, made_at: made.made_at, changes: [made], photos: [] })) });
  await page.getByText("1 entry taken in.").waitFor();
  await page.getByRole("button", { name: "Close", exact: true }).click();
  await owner.page.goto("/go/demo/papers?view=people");
  await owner.page.getByRole("button", { name: "Take Ann off the farm" }).click();
  await owner.page.getByText("Ann no longer sees this farm.", { exact: false }).waitFor();
  await page.goto("/go/demo/ground");
  await page.getByRole("button", { name: "Sign out" }).waitFor();
  await page.getByRole("button", { name: /^What waits on this device/ }).click();
  const started = page.waitForEvent("download");
  await page.getByRole("button", { name: "Keep as a file" }).click();
  const path = await (await started).path();
  await owner.page.goto("/go/demo/ground");
  await owner.page.getByRole("button", { name: "All sent" }).click();
  await owner.page.locator("input[type=file]").setInputFiles(path);
  await owner.page.getByText("They were made by", { exact: false }).waitFor();
  await owner.page.getByRole("button", { name: "Close", exact: true }).click();
  await owner.page.getByRole("button", { name: "All sent" }).waitFor();
  const taken = await owner.page.evaluate(async (id) => (await fetch(`/farms/demo/collections/finds/items/${id}`, { headers: { Accept: "application/geo+json" } })).json(), findId);
  assert.equal(taken.properties.words, "handed over");
  const left = await page.evaluate(async () => {
    const names = (await indexedDB.databases()).map((d) => d.name);
    let count = 0;
    for (const name of names) {
      const db = await new Promise((done, fail) => {
        const r = indexedDB.open(name);
        r.addEventListener("success", () => done(r.result));
        r.addEventListener("error", () => fail(r.error));
      });
      if (db.objectStoreNames.contains("records")) {
        count += await new Promise((done) => {
          const r = db.transaction("records").objectStore("records").count();
          r.addEventListener("success", () => done(r.result));
        });
      }
      db.close();
    }
    return count;
  });
  assert.equal(left, 0, "records of the farm are left on the phone");
  await shot("people-gone-phone", page);
});

test("an owner's link sets a new password", async () => {
  const { page } = owner;
  await people(page);
  await page.getByRole("button", { name: /^Link for a new password for/ }).first().click();
  const reset = await page.locator(".secret code").innerText();
  const other = await openWindow(browser, demo.base, { size: sizes.phone });
  await other.page.goto(reset);
  await other.page.getByLabel("New password").fill("short");
  await other.page.getByRole("button", { name: "Set the new password" }).click();
  await other.page.getByText("A password needs at least 12 characters.").first().waitFor();
  assert.deepEqual(await brokenRules(other.page), []);
  await other.page.getByLabel("New password").fill("another four dull words");
  await other.page.getByRole("button", { name: "Set the new password" }).click();
  await other.page.getByText("The password is set. Sign in with it.").waitFor();
  await other.context.close();
});

test("both sizes and both languages keep the rules", async () => {
  for (const [size, locale] of Object.keys(sizes).flatMap((s) => languagesOn(s === "phone").map((l) => [s, l === "es" ? "es-MX" : "en-US"]))) {
    const seen = await openWindow(browser, demo.base, { size: sizes[size], locale });
    await seen.page.goto("/");
    await seen.page.locator("#sign-in-name").fill("grower");
    await seen.page.locator("#sign-in-password").fill("demo-farm");
    await seen.page.locator("form button.main").click();
    await seen.page.getByRole("navigation").waitFor();
    await people(seen.page);
    await seen.page.locator(".people .check input").first().check();
    assert.deepEqual(await brokenRules(seen.page), [], `${size} ${locale}`);
    const small = await seen.page.evaluate(() =>
      [...document.querySelectorAll(".people button, .people input, .people select")].filter((e) => {
        const box = (e.closest(".check") ?? e).getBoundingClientRect();
        return box.width > 0 && box.height < 43.5;
      }).map((e) => e.outerHTML.slice(0, 80)),
    );
    assert.deepEqual(small, [], `controls under 44 px, ${size}`);
    if (locale.startsWith("es")) {
      assert.deepEqual(await englishLeft(seen.page, english.filter((e) => e.key.startsWith("people-"))), [], "English on a Spanish page");
    }
    await shot(`people-${size}-${locale.slice(0, 2)}`, seen.page);
    assert.deepEqual(seen.faults, []);
    await seen.context.close();
  }
  assert.deepEqual([...owner.faults, ...adviser.faults], []);
});
