import type { LocalStore } from "./localStore.ts";

/**
 * Shows the server that a notification appeared on this screen; stored until the server has it. Only by it can the server know
 * that this phone is reachable, and whether to try another channel.
 */
export interface QueuedReceipt {
  readonly item: string; // the notification's id, which is enough to send the receipt
  readonly displayedAt: number; // ms since the epoch, the phone's clock
}

const receiptKey = (item: string) => `shown/${item}`;

/** After a day the server has notified somebody else. Our choice. */
const receiptMaxAgeMs = 24 * 60 * 60_000;

const isRecent = ({ displayedAt }: QueuedReceipt, now: number) =>
  now - displayedAt < receiptMaxAgeMs && displayedAt <= now + 60_000;

export const storeDisplayReceipt = (store: LocalStore, report: QueuedReceipt) =>
  store.put(receiptKey(report.item), report);

/** Whether a receipt needs no further try: it has arrived, or the server will never accept it. */
const isSettled = (status: number) => !(status >= 500 || status === 408 || status === 429);

/**
 * Sends all stored receipts. Where the server can't be reached, the rest waits for the next push, tap or page.
 * @param post resolves with the status of the response; rejects where there was none
 */
export async function sendDisplayReceipts(
  store: LocalStore,
  now: number,
  post: (report: QueuedReceipt) => Promise<number> = postDisplayReceipt,
): Promise<void> {
  const keys = (await store.keys()).filter((key) => key.startsWith(receiptKey("")));
  for (const key of keys) {
    const report = await store.get<QueuedReceipt>(key);
    if (report === undefined) continue; // sent by another window
    if (isRecent(report, now)) {
      try {
        if (!isSettled(await post(report))) return;
      } catch {
        return; // no connection: usual, and it stays stored
      }
    }
    await store.remove(key);
  }
}

async function postDisplayReceipt({ item, displayedAt }: QueuedReceipt): Promise<number> {
  const response = await fetch(`/api/v1/notifications/${encodeURIComponent(item)}/display-receipt`, {
    method: "POST",
    keepalive: true, // continues after the phone stops the worker
    credentials: "same-origin",
    cache: "no-store",
    signal: AbortSignal.timeout(15_000),
    headers: { "content-type": "application/json", "x-pieward": "1" },
    body: JSON.stringify({ at: new Date(displayedAt).toISOString() }),
  });
  return response.status;
}
