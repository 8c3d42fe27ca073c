// Draws the icons of the installed page from its mark: npm run icons. The
// pictures are kept with the sources, so a build needs no browser.
import { readFile, writeFile } from "node:fs/promises";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

const folder = join(dirname(fileURLToPath(import.meta.url)), "..", "public");
// Launchers cut a maskable icon to a circle of four fifths of its width (W3C
// Manifest, section "Icon masks"); the mark stays within it.
const icons = [
  { name: "mark-180.png", size: 180, share: 0.9 },
  { name: "mark-192.png", size: 192, share: 1 },
  { name: "mark-512.png", size: 512, share: 1 },
  { name: "mark-maskable-512.png", size: 512, share: 0.56 },
];

const mark = await readFile(join(folder, "mark.svg"), "utf8");
const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium" });
for (const { name, size, share } of icons) {
  const page = await browser.newPage({ viewport: { width: size, height: size } });
  await page.setContent(`<style>html,body{margin:0;height:100%;background:#fff}body{display:grid;place-items:center}svg{width:${share * 100}%}</style>${mark}`);
  await writeFile(join(folder, name), await page.screenshot());
  await page.close();
}
await browser.close();
