import { signal } from "@preact/signals";

/** The time as the page shows it, moved on twice a minute and at once when the page is looked at again. */
export const now = signal(Date.now());

export function keepTime(): void {
  const tick = () => {
    now.value = Date.now();
  };
  setInterval(tick, 30_000);
  document.addEventListener("visibilitychange", tick);
}
