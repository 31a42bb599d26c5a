import { signal } from "@preact/signals";
import { hasUnsaved } from "./unsaved.ts";

/** A newer version of this page is ready. It is not used before the person agrees, who may be in the middle of something. */
export const isUpdateReady = signal(false);
/** The newer version is in use, and this window still shows the older one because of unsaved changes. */
export const isUpdateActive = signal(false);

let registration: ServiceWorkerRegistration | null = null;

/** From the start: a worker of an earlier visit may send this page to the subject of its notification. */
export function listenToWorker(open: (path: string) => void, loadActions: () => void, checkPhone: () => void): void {
  if (!("serviceWorker" in navigator)) return; // plain HTTP has none; all but push and offline use works
  const { serviceWorker } = navigator;
  serviceWorker.addEventListener("message", (event: MessageEvent<unknown>) => {
    const message = event.data as { kind?: unknown; path?: unknown } | null;
    if (message?.kind === "open" && typeof message.path === "string") open(message.path);
    if (message?.kind === "actions") loadActions();
    if (message?.kind === "address") checkPhone();
    // The worker keeps the files of an older page until all windows run its own version.
    if (message?.kind === "whichVersion") event.ports[0]?.postMessage(pageVersion());
  });
  let controller = serviceWorker.controller;
  serviceWorker.addEventListener("controllerchange", () => {
    // The very first worker replaces none, so it is no update.
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
    const check = () => {
      if (worker.state === "installed" && serviceWorker.controller !== null) isUpdateReady.value = true;
    };
    worker.addEventListener("statechange", check);
    check();
  };
  watch(watched.waiting);
  watch(watched.installing);
  watched.addEventListener("updatefound", () => watch(watched.installing));
  watched.active?.postMessage({ kind: "opened" });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden") return;
    watched.update().catch(() => {
      // No connection: the next check finds it.
    });
  });
}

/** The name of this page's script has a fingerprint, and the worker's list of files has that name. */
const pageVersion = () =>
  new URL(document.querySelector<HTMLScriptElement>("script[type=module][src]")?.src ?? "", location.href).pathname;

/** All windows change together: each sees the new worker take control. */
export function activateUpdate(): void {
  const waiting = registration?.waiting ?? null;
  if (waiting === null)
    reloadWhenSaved(); // another window has just activated it
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

/** The person has chosen to lose unsaved changes. */
export const reloadNow = () => location.reload();
