// The worker that starts the page without a network. It is one file of its own
// and holds its build's files only; records stand in the page's database and
// are never answered from here.
declare const self: ServiceWorkerGlobalScope;

interface Shell {
  readonly version: string;
  /** SHA-256 of each file of the build, hexadecimal, by its path. */
  readonly files: Readonly<Record<string, string>>;
}

// The build puts the list here (vite.config.ts).
const shell = JSON.parse("__SHELL__") as Shell;
const mine = "caneward-page-";
const cacheName = mine + shell.version;
const page = "/";

self.addEventListener("install", (event) => event.waitUntil(fill()));
self.addEventListener("activate", (event) => event.waitUntil(begin()));
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (event.request.mode === "navigate") {
    if (url.pathname === page || url.pathname.startsWith("/go/")) event.respondWith(kept(page, event.request, false));
    return;
  }
  if (url.pathname.startsWith("/assets/")) event.respondWith(kept(url.pathname, event.request, true));
  else if (Object.hasOwn(shell.files, url.pathname)) event.respondWith(kept(url.pathname, event.request, false));
});
// Taking over by itself would swap the program under a half-written form.
self.addEventListener("message", (event) => {
  if (event.data === "take-over") event.waitUntil(self.skipWaiting());
});

async function fill(): Promise<void> {
  const cache = await caches.open(cacheName);
  try {
    await Promise.all(Object.entries(shell.files).map(([path, sum]) => fetchOne(cache, path, sum)));
  } catch (failure) {
    await caches.delete(cacheName);
    throw failure;
  }
}

// A server that was changed in the middle gives files of two builds: what is not
// the file of this build ends the installation, and the browser tries again later.
async function fetchOne(cache: Cache, path: string, sum: string): Promise<void> {
  const before = path.startsWith("/assets/") ? await caches.match(path) : undefined;
  const answer = before ?? (await fetch(path, { cache: "no-cache" }));
  if (!answer.ok) throw new Error(`${path}: ${answer.status}`);
  const digest = await crypto.subtle.digest("SHA-256", await answer.clone().arrayBuffer());
  const got = Array.from(new Uint8Array(digest), (b) => b.toString(16).padStart(2, "0")).join("");
  if (got !== sum) throw new Error(`${path} is of another build`);
  await cache.put(path, answer);
}

// Tabs that still run the build before this one fetch its parts from its cache;
// the one before that is no longer shown anywhere.
async function begin(): Promise<void> {
  const others = (await caches.keys()).filter((name) => name.startsWith(mine) && name !== cacheName);
  await Promise.all(others.slice(0, -1).map((name) => caches.delete(name)));
  await self.clients.claim();
}

/** The kept file; names below /assets/ hold their content's hash, so any build's will do. */
async function kept(path: string, request: Request, anyBuild: boolean): Promise<Response> {
  const own = await (await caches.open(cacheName)).match(path);
  return own ?? (anyBuild ? await caches.match(path) : undefined) ?? fetch(request);
}
