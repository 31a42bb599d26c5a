import { signal } from "@preact/signals";

/** The time as the page shows it, moved on twice a minute and at once when the page is looked at again. */
export const now = signal(Date.now());

let clockSkewMs = 0;

/** The server's time by our reckoning: a phone's clock may be minutes off, and "2 minutes ago" should still be true. */
export const serverNow = () => Date.now() + clockSkewMs;

/**
 * The answer was some moments on its way, so this reckons a little behind: never in the server's future, which it would
 * refuse for a refill.
 */
export function setServerTime(serverTime: string): void {
  const told = Date.parse(serverTime);
  if (Number.isFinite(told)) clockSkewMs = told - Date.now();
}

export function startClock(): void {
  const tick = () => {
    now.value = serverNow();
  };
  setInterval(tick, 30_000);
  document.addEventListener("visibilitychange", tick);
}
