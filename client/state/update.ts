import { signal } from "@preact/signals";
import { hasUnsaved } from "./unsaved.ts";

/** A newer version of this page lies ready. It never takes over by itself: the keeper may be in the middle of something. */
export const isUpdateReady = signal(false);
/** The newer version is in use, and this window stays with the older one for what was entered in it. */
export const isUpdateActive = signal(false);

let registration: ServiceWorkerRegistration | null = null;

/** From the first moment on: a worker of an earlier opening may send this page to what its notice is about. */
export function listenToWorker(open: (path: string) => void, lookForActs: () => void, lookAtPhone: () => void): void {
  if (!("serviceWorker" in navigator)) return; // over plain HTTP there is none; everything but push and offline still works
  const { serviceWorker } = navigator;
  serviceWorker.addEventListener("message", (event: MessageEvent<unknown>) => {
    const message = event.data as { kind?: unknown; path?: unknown } | null;
    if (message?.kind === "open" && typeof message.path === "string") open(message.path);
    if (message?.kind === "acts") lookForActs();
    if (message?.kind === "address") lookAtPhone();
    // The worker keeps what an older page may still fetch until all windows are of its own version.
    if (message?.kind === "whichVersion") event.ports[0]?.postMessage(pageVersion());
  });
  let controller = serviceWorker.controller;
  serviceWorker.addEventListener("controllerchange", () => {
    // The very first worker replaces nothing, so it is no update.
    if (controller !== null) reloadWhenSaved();
    controller = serviceWorker.controller;
  });
}

export async function registerWorker(): Promise<void> {
  if (!("serviceWorker" in navigator)) return;
  const { serviceWorker } = navigator;
  registration = await serviceWorker.register("/worker.js", { updateViaCache: "none" });
  const watched = registration;
  const watch = (worker: ServiceWorker | null) => {
    if (worker === null) return;
    const look = () => {
      if (worker.state === "installed" && serviceWorker.controller !== null) isUpdateReady.value = true;
    };
    worker.addEventListener("statechange", look);
    look();
  };
  watch(watched.waiting);
  watch(watched.installing);
  watched.addEventListener("updatefound", () => watch(watched.installing));
  watched.active?.postMessage({ kind: "opened" });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden") return;
    watched.update().catch(() => {
      // Out of reach just now: the next look will find it.
    });
  });
}

/** The name of the script that runs here holds a fingerprint of it, and the shell's list holds that name. */
const pageVersion = () =>
  new URL(document.querySelector<HTMLScriptElement>("script[type=module][src]")?.src ?? "", location.href).pathname;

/** All windows go over together: each sees the new worker take control. */
export function activateUpdate(): void {
  const waiting = registration?.waiting ?? null;
  if (waiting === null)
    reloadWhenSaved(); // another window has taken it, a moment ago
  else waiting.postMessage({ kind: "takeOver" });
}

const reloadCheckMs = 1_000;

function reloadWhenSaved(): void {
  isUpdateReady.value = false;
  if (!hasUnsaved()) {
    location.reload();
    return;
  }
  if (isUpdateActive.value) return;
  isUpdateActive.value = true;
  setInterval(() => {
    if (!hasUnsaved()) location.reload();
  }, reloadCheckMs);
}

/** At the keeper's word, whatever was entered. */
export const reloadNow = () => location.reload();
