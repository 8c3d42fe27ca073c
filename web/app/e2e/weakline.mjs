// A line between browser and server that can be cut, loses answers after the
// server has stored what was asked, and can serve another build of the page.
import { createReadStream } from "node:fs";
import { access } from "node:fs/promises";
import http from "node:http";
import { extname, join } from "node:path";
import { openWindow, sizes } from "./harness.mjs";
import { signIn } from "./people.mjs";

const types = { ".html": "text/html; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".png": "image/png", ".svg": "image/svg+xml", ".webmanifest": "application/manifest+json" };

/**
 * Opens the line to a server. `down` cuts it; `lose(n, pattern)` loses the next n
 * answers to matching requests; `build` is the folder of another build or null;
 * `seen` holds "METHOD path" of everything that reached the server.
 */
export async function weakLine(target) {
  const line = { down: false, build: null, seen: [], lose, base: "", close };
  let losing = { n: 0, pattern: /^$/ };
  const sockets = new Set();
  function lose(n, pattern) {
    losing = { n, pattern };
  }
  const server = http.createServer(async (req, res) => {
    if (line.down) return req.socket.destroy();
    const path = new URL(req.url, "http://line.invalid").pathname;
    if (line.build && (await fromBuild(path, res, line.build))) return;
    const body = [];
    for await (const part of req) body.push(part);
    line.seen.push(`${req.method} ${path}`);
    const lost = losing.n > 0 && losing.pattern.test(`${req.method} ${path}`);
    if (lost) losing.n -= 1;
    const up = http.request(`${target}${req.url}`, { method: req.method, headers: { ...req.headers, host: new URL(target).host, ...origin(req) } }, async (answer) => {
      const got = [];
      for await (const part of answer) got.push(part);
      if (lost || line.down) return req.socket.destroy();
      const { "transfer-encoding": _, ...headers } = answer.headers;
      res.writeHead(answer.statusCode, headers);
      res.end(Buffer.concat(got));
    });
    up.on("error", () => req.socket.destroy());
    up.end(Buffer.concat(body));
  });
  // The server compares where a request says it comes from with its own name.
  const origin = (req) => (req.headers.origin ? { origin: target } : {});
  server.on("connection", (s) => {
    sockets.add(s);
    s.on("close", () => sockets.delete(s));
  });
  await new Promise((done) => server.listen(0, "127.0.0.1", done));
  line.base = `http://127.0.0.1:${server.address().port}`;
  async function close() {
    for (const s of sockets) s.destroy();
    await new Promise((done) => server.close(done));
  }
  return line;
}

const policy =
  "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";

/** Answers a path of the page from a build; a part of another build is not there. */
async function fromBuild(path, res, folder) {
  const page = path === "/" || path.startsWith("/go/");
  const file = join(folder, page ? "index.html" : path);
  const there = await access(file).then(() => true, () => false);
  if (!there && !path.startsWith("/assets/")) return false;
  if (!there) {
    res.writeHead(404).end();
    return true;
  }
  res.writeHead(200, { "content-type": types[extname(file)] ?? "application/octet-stream", "cache-control": "no-cache", "content-security-policy": policy });
  createReadStream(file).pipe(res);
  return true;
}

/** How a window is a phone whose page may be installed. */
export const phone = { size: sizes.phone, hasTouch: true, isMobile: true, serviceWorkers: "allow" };

/** A phone of its own on the line, with the page installed: its worker holds the page and its database the farm. */
export async function phoneOn(line, browser, name, more = {}) {
  line.down = false;
  const opened = await openWindow(browser, line.base, { ...phone, ...more });
  opened.context.setDefaultTimeout(30_000);
  await signIn(opened.page, name);
  await opened.page.waitForFunction(() => navigator.serviceWorker.controller !== null);
  return opened;
}

/** Takes the network away from a phone and from everybody on the line. */
export async function cut(line, context) {
  line.down = true;
  await context.setOffline(true);
}

export async function mend(line, context) {
  line.down = false;
  await context.setOffline(false);
}
