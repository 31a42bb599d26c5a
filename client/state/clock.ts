import { signal } from "@preact/signals";

/** The time that the page shows, updated twice a minute and when the page becomes visible. */
export const now = signal(Date.now());

let clockSkewMs = 0;

/** The server's time as estimated here: a phone's clock may be minutes off, and "2 minutes ago" must still be true. */
export const serverNow = () => Date.now() + clockSkewMs;

/**
 * The response took some time, so this clock is a little behind: never in the server's future, which it would refuse for a
 * refill.
 */
export function setServerTime(serverTime: string): void {
  const time = Date.parse(serverTime);
  if (Number.isFinite(time)) clockSkewMs = time - Date.now();
}

export function startClock(): void {
  const tick = () => {
    now.value = serverNow();
  };
  setInterval(tick, 30_000);
  document.addEventListener("visibilitychange", tick);
}
