// The page's own texts, read from its sources, to tell English left on a
// Spanish page.
import { readdir } from "node:fs/promises";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { createServer } from "vite";

const app = join(dirname(fileURLToPath(import.meta.url)), "..");

/** Every English text that Spanish says otherwise, as a pattern for a whole text. */
export async function englishOnly() {
  const server = await createServer({ root: app, logLevel: "error", server: { middlewareMode: true, hmr: false, ws: false }, optimizeDeps: { noDiscovery: true } });
  try {
    const files = (await readdir(join(app, "src/i18n"))).filter((f) => /^[a-z]+\.ts$/.test(f) && f !== "index.ts" && f !== "area.ts");
    const spanish = new Set();
    const english = [];
    for (const file of files) {
      const areas = Object.values(await server.ssrLoadModule(`/src/i18n/${file}`));
      for (const { en, es } of areas) {
        for (const [key, entry] of Object.entries(en)) {
          for (const text of forms(es[key])) spanish.add(text);
          for (const text of forms(entry)) english.push({ key, text });
        }
      }
    }
    return english
      .filter(({ text }) => !spanish.has(text) && !/^\{\w+\}$/.test(text))
      .map(({ key, text }) => ({ key, pattern: wholeText(text) }));
  } finally {
    await server.close();
  }
}

// These hold figures; other places may hold any words.
const figures = new Set(["{n}", "{limit}", "{low}", "{high}"]);
const wholeText = (text) =>
  new RegExp(`^${text.split(/(\{\w+\})/).map((part, i) => (i % 2 === 0 ? escape(part) : figures.has(part) ? "[\\d.,]+" : ".+")).join("")}$`);
const forms = (entry) => (typeof entry === "string" ? [entry] : Object.values(entry));
const escape = (text) => text.replace(/[.*+?^${}()|[\]\\]/g, "\\$&");

/** Every text of the page and its accessible names, once each. */
export async function textsOf(page) {
  return page.evaluate(() => {
    const texts = new Set();
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      if (!node.parentElement.closest("script, style, [lang=en]")) texts.add(node.textContent.trim());
    }
    for (const el of document.querySelectorAll("[aria-label], [title], [placeholder], option")) {
      if (el.closest("[lang=en]")) continue;
      for (const name of ["aria-label", "title", "placeholder"]) texts.add((el.getAttribute(name) ?? "").trim());
    }
    texts.delete("");
    return [...texts];
  });
}

/**
 * The texts of a page that stay English, with the entry they are of. What the
 * server says comes again after the language is changed: it is given ten seconds.
 */
export async function englishLeft(page, english) {
  const end = Date.now() + 10_000;
  for (;;) {
    const left = (await textsOf(page)).flatMap((text) => english.filter((e) => e.pattern.test(text)).slice(0, 1).map((e) => `“${text}” (${e.key})`));
    if (left.length === 0 || Date.now() > end) return left;
    await page.waitForTimeout(100);
  }
}
