// Serves a fresh demo farm and opens pages on it for the browser tests. Every
// console error, page error and broken content-security rule is kept, so that
// a test can say there was none.
import { spawn } from "node:child_process";
import { access, mkdtemp, readFile, rm } from "node:fs/promises";
import { createServer } from "node:net";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

const here = dirname(fileURLToPath(import.meta.url));
const root = join(here, "..", "..", "..");
const binary = process.env.CANEWARD ?? join(root, "bin", "caneward");
const browserPath = process.env.CHROMIUM ?? "/usr/bin/chromium";

/** The two screens everything is looked at on. */
export const sizes = {
  laptop: { width: 1366, height: 768 },
  phone: { width: 412, height: 915 },
};

async function freePort() {
  const server = createServer();
  await new Promise((done) => server.listen(0, "127.0.0.1", done));
  const { port } = server.address();
  await new Promise((done) => server.close(done));
  return port;
}

async function need(path, what) {
  try {
    await access(path);
  } catch {
    throw new Error(`${what} is not at ${path}`);
  }
}

/** Starts the demo farm; stop() ends it and removes its records. */
export async function serveDemo() {
  await need(binary, "the built program (make build)");
  const folder = await mkdtemp(join(tmpdir(), "caneward-e2e-"));
  const port = await freePort();
  const base = `http://127.0.0.1:${port}`;
  const server = spawn(binary, ["demo", "--data", join(folder, "farm"), "--listen", `127.0.0.1:${port}`], {
    stdio: ["ignore", "pipe", "pipe"],
  });
  let log = "";
  for (const stream of [server.stdout, server.stderr]) stream.on("data", (d) => (log += d));
  const ended = new Promise((done) => server.once("exit", done));
  const stop = async () => {
    server.kill("SIGTERM");
    await ended;
    await rm(folder, { recursive: true, force: true });
  };
  for (const until = Date.now() + 30_000; ; ) {
    if (server.exitCode !== null) throw new Error(`the server ended at once:\n${log}`);
    const up = await fetch(`${base}/healthz`).then((r) => r.ok, () => false);
    if (up) break;
    if (Date.now() > until) {
      await stop();
      throw new Error(`no answer from /healthz within 30 s:\n${log}`);
    }
    await new Promise((done) => setTimeout(done, 50));
  }
  return { base, stop, log: () => log };
}

export async function openBrowser(more = []) {
  await need(browserPath, "the browser (set CHROMIUM)");
  // Without a GPU the canvas is drawn ten times faster this way.
  return chromium.launch({ executablePath: browserPath, args: ["--disable-gpu", ...more] });
}

/** A browser whose profile stays on the disk, as on a phone: compiled scripts too, which a window without one throws away. */
export async function openProfile(folder, base, { size = sizes.phone, ...more } = {}) {
  await need(browserPath, "the browser (set CHROMIUM)");
  return chromium.launchPersistentContext(folder, { executablePath: browserPath, args: ["--disable-gpu"], baseURL: base, viewport: size, locale: "en-US", timezoneId: "America/New_York", ...more });
}

/** A browser window of its own, with its own cookies; faults fills as things go wrong. */
export async function openWindow(browser, base, { size = sizes.laptop, locale = "en-US", ...more } = {}) {
  const context = await browser.newContext({
    baseURL: base,
    viewport: size,
    locale,
    timezoneId: "America/New_York",
    serviceWorkers: "block",
    ...more,
  });
  context.setDefaultTimeout(15_000);
  const page = await context.newPage();
  const faults = [];
  // A refused request is an answer the page deals with, not a fault of the page.
  const answered = /Failed to load resource: the server responded with a status of 4\d\d/;
  page.on("console", (m) => {
    if (m.type() === "error" && !answered.test(m.text())) faults.push(`console: ${m.text()}`);
  });
  page.on("pageerror", (e) => faults.push(`page: ${e.message}`));
  await page.addInitScript(() => {
    document.addEventListener("securitypolicyviolation", (e) => {
      console.error(`content security: ${e.violatedDirective} ${e.blockedURI} ${e.sourceFile ?? ""}`);
    });
  });
  return { context, page, faults };
}

const axeSource = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];

/** The WCAG 2.2 A and AA rules that the page breaks, one line each. */
export async function brokenRules(page) {
  if (!(await page.evaluate(() => "axe" in window))) await page.evaluate(axeSource);
  // What passes need not be told place by place.
  const result = await page.evaluate((tags) => window.axe.run(document, { runOnly: tags, resultTypes: ["violations"] }), rules);
  return result.violations.flatMap((v) => v.nodes.map((n) => `${v.id}: ${n.target.join(" ")}: ${n.failureSummary}`));
}

/**
 * The languages that the screens of a size are looked at in. The short round takes
 * English on the laptop and Spanish on the phone, so that each screen, size and
 * language is looked at; SOAK=1 takes all four.
 */
export const languagesOn = (phone) => (process.env.SOAK ? ["en", "es"] : [phone ? "es" : "en"]);

/** The rules a page breaks, if it stands in one of the languages of its size. */
export async function brokenRulesInTurn(page) {
  const language = await page.locator("html").getAttribute("lang");
  return languagesOn(page.viewportSize().width < 600).includes(language) ? brokenRules(page) : [];
}

/** Controls lower than 44 px among those the selector names in the sheet, and a page wider than its window. */
export async function tightPlaces(page, selector, where) {
  const low = await page.locator("main").evaluate(
    (sheet, named) =>
      Array.from(sheet.querySelectorAll(named))
        .filter((el) => el.getBoundingClientRect().width > 0 && el.getBoundingClientRect().height < 43.5)
        .map((el) => el.textContent || el.id),
    selector,
  );
  const [width, room] = await page.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
  return [...low.map((l) => `${where}: “${l}” is lower than 44 px`), ...(width > room ? [`${where}: ${width} px wide on ${room}`] : [])];
}
