// How many pictures a second the row map draws for a block of 10,000 plants
// while it is dragged and zoomed: node e2e/rowmap.bench.mjs. A figure to read,
// not a test: another machine gives another one.
import { openBrowser, openWindow, serveDemo, sizes } from "./harness.mjs";
import { records, signIn } from "./people.mjs";

const rows = 100;
const plants = 100;
const seconds = 4;

// Near the demo farm: rows of 99 m, 3 m apart, running north.
const start = [-86.53, 36.13];
const metre = { lon: 1 / 90_000, lat: 1 / 111_000 };
const place = (east, north) => [start[0] + east * metre.lon, start[1] + north * metre.lat];
const id = (n) => `019b0000-0000-7000-8000-${String(n).padStart(12, "0")}`;

async function plant(page) {
  const corners = [
    [-3, -3],
    [3 * rows, -3],
    [3 * rows, plants + 2],
    [-3, plants + 2],
    [-3, -3],
  ];
  const block = {
    type: "Feature",
    id: id(0),
    geometry: { type: "Polygon", coordinates: [corners.map(([e, n]) => place(e, n))] },
    properties: { name: "Ten thousand", row_spacing_m: 3, plant_spacing_m: 1, row_bearing_deg: 0 },
  };
  const changes = [{ op: "put", kind: "blocks", id: block.id, record: block, base: null }];
  for (let r = 1; r <= rows; r++) {
    const line = [place(3 * (r - 1), 0), place(3 * (r - 1), plants - 1)];
    const missing = Array.from({ length: 5 }, (_, i) => ((r * 7 + i * 19) % plants) + 1);
    changes.push({
      op: "put",
      kind: "rows",
      id: id(r),
      record: { type: "Feature", id: id(r), geometry: { type: "LineString", coordinates: line }, properties: { block: block.id, number: r, plants, missing: [...new Set(missing)].sort((a, b) => a - b) } },
      base: null,
    });
  }
  const visit = {
    type: "Feature",
    id: id(900),
    geometry: null,
    properties: { block: block.id, purpose: "scouting", started_at: "2026-06-01T08:00:00Z", ended_at: "2026-06-01T10:00:00Z", inspected: Array.from({ length: 50 }, (_, i) => ({ row: i + 1, from: 1, to: 60 })) },
  };
  changes.push({ op: "put", kind: "visits", id: visit.id, record: visit, base: null });
  return page.evaluate(async (body) => {
    const answer = await fetch("/farms/demo/changes", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
    const told = await answer.json();
    return (told.outcomes ?? []).filter((o) => o.status >= 400).map((o) => JSON.stringify(o.problem));
  }, { changes });
}

/** Times between frames while `work` runs, milliseconds. */
async function frames(page, work) {
  await page.evaluate(() => {
    window.gaps = [];
    let last = performance.now();
    const tick = (now) => {
      window.gaps.push(now - last);
      last = now;
      window.ticking = requestAnimationFrame(tick);
    };
    window.ticking = requestAnimationFrame(tick);
  });
  await work();
  return page.evaluate(() => {
    cancelAnimationFrame(window.ticking);
    return window.gaps.slice(2);
  });
}

function told(name, gaps) {
  const sorted = [...gaps].sort((a, b) => a - b);
  const sum = gaps.reduce((a, b) => a + b, 0);
  const late = gaps.filter((g) => g > 25).length;
  const at = (q) => sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))].toFixed(1);
  console.log(`${name}: ${((1000 * gaps.length) / sum).toFixed(1)} frames/s, median ${at(0.5)} ms, 95th ${at(0.95)} ms, ${late} of ${gaps.length} later than 25 ms`);
}

const demo = await serveDemo();
const browser = await openBrowser();
try {
  for (const [name, size] of Object.entries(sizes)) {
    const { page, context } = await openWindow(browser, demo.base, { size });
    await signIn(page, "grower");
    if ((await records(page, "demo", "rows", `&block=${id(0)}`)).features.length === 0) {
      const refused = await plant(page);
      if (refused.length > 0) throw new Error(refused[0]);
    }
    await page.goto(`/go/demo/ground?block=${id(0)}&view=plants`);
    await page.getByRole("grid").waitFor();
    await page.waitForLoadState("networkidle");
    const box = await page.getByRole("grid").boundingBox();
    const middle = { x: box.x + box.width / 2, y: box.y + box.height / 2 };
    const until = () => {
      const end = Date.now() + seconds * 1000;
      return () => Date.now() < end;
    };
    await page.mouse.move(middle.x, middle.y);
    told(
      `${name}, dragging the whole block`,
      await frames(page, async () => {
        await page.mouse.down();
        for (let i = 0, go = until(); go(); i++) await page.mouse.move(middle.x + 60 * Math.sin(i / 9), middle.y + 40 * Math.cos(i / 7));
        await page.mouse.up();
      }),
    );
    told(
      `${name}, zooming in and out`,
      await frames(page, async () => {
        for (let i = 0, go = until(); go(); i++) await page.mouse.wheel(0, i % 60 < 30 ? -40 : 40);
      }),
    );
    await page.getByRole("grid").press("0");
    for (let i = 0; i < 4; i++) await page.mouse.wheel(0, -120);
    told(
      `${name}, dragging closer by`,
      await frames(page, async () => {
        await page.mouse.down();
        for (let i = 0, go = until(); go(); i++) await page.mouse.move(middle.x + 90 * Math.sin(i / 9), middle.y + 70 * Math.cos(i / 7));
        await page.mouse.up();
      }),
    );
    await context.close();
  }
} finally {
  await browser.close();
  await demo.stop();
}
