import { type Signal, signal } from "../model/signal";

/** A newer page: none; here and waiting; or in use in another tab already. */
export const newVersion: Signal<"none" | "ready" | "elsewhere"> = signal<"none" | "ready" | "elsewhere">("none");

/** Whether something was typed that is not kept yet; a new version waits for it. */
export const halfEntered: Signal<boolean> = signal(false);

const checkEveryMs = 60 * 60 * 1000;
let waitingWorker: ServiceWorker | null = null;
let reloading = false;

/** Registers the worker that opens the page without a network. Without https there is none. */
export async function watchVersions(): Promise<void> {
  const workers = globalThis.navigator?.serviceWorker;
  // In development the files have no list.
  if (!workers || import.meta.env.DEV) return;
  // Ticks and choices come as input events too; a search in a list counts as well, which only makes the update wait.
  document.addEventListener("input", (e) => {
    if (e.target instanceof Element && e.target.closest("form, .sheet")) halfEntered.set(true);
  });
  const hadOne = workers.controller !== null;
  workers.addEventListener("controllerchange", () => {
    if (!hadOne && !reloading) return;
    if (reloading || !halfEntered.get()) location.reload();
    else newVersion.set("elsewhere");
  });
  let registration: ServiceWorkerRegistration | undefined;
  try {
    registration = await workers.register("/sw.js", { updateViaCache: "none" });
  } catch {
    // Without a network the worker that is here goes on; in a private window there is none.
    return;
  }
  // A browser told to refuse workers answers with nothing.
  if (registration) follow(workers, registration);
}

function follow(workers: ServiceWorkerContainer, registration: ServiceWorkerRegistration): void {
  const look = () => {
    if (!registration.waiting || !workers.controller) return;
    waitingWorker = registration.waiting;
    newVersion.set("ready");
  };
  look();
  registration.addEventListener("updatefound", () => {
    const coming = registration.installing;
    coming?.addEventListener("statechange", () => coming.state === "installed" && look());
  });
  const check = () => {
    if (document.visibilityState === "visible") registration.update().catch(() => undefined);
  };
  document.addEventListener("visibilitychange", check);
  setInterval(check, checkEveryMs);
}

/** Goes over to the newer page. What waits to be sent stays. */
export function takeNewVersion(): void {
  reloading = true;
  if (newVersion.get() === "elsewhere") location.reload();
  else waitingWorker?.postMessage("take-over");
}
