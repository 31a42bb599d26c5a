import { signal } from "@preact/signals";

/** A newer version of this page lies ready. It never takes over by itself: the keeper may be in the middle of something. */
export const updateReady = signal<ServiceWorker | null>(null);

export async function registerWorker(open: (path: string) => void, lookForActs: () => void): Promise<void> {
  if (!("serviceWorker" in navigator)) return; // over plain HTTP there is none; everything but push and offline still works
  navigator.serviceWorker.addEventListener("message", (event: MessageEvent<unknown>) => {
    const message = event.data as { kind?: unknown; path?: unknown } | null;
    if (message?.kind === "open" && typeof message.path === "string") open(message.path);
    if (message?.kind === "acts") lookForActs();
  });
  const registration = await navigator.serviceWorker.register("/worker.js", { updateViaCache: "none" });
  const watch = (worker: ServiceWorker | null) => {
    if (worker === null) return;
    const look = () => {
      // The very first worker replaces nothing, so it is no update.
      if (worker.state === "installed" && navigator.serviceWorker.controller !== null) updateReady.value = worker;
    };
    worker.addEventListener("statechange", look);
    look();
  };
  watch(registration.waiting);
  watch(registration.installing);
  registration.addEventListener("updatefound", () => watch(registration.installing));
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden") return;
    registration.update().catch(() => {
      // Out of reach just now: the next look will find it.
    });
  });
}

export function takeUpdate(): void {
  const worker = updateReady.value;
  if (worker === null) return;
  navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
  worker.postMessage({ kind: "takeOver" });
}
