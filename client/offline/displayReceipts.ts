import type { LocalStore } from "./localStore.ts";

/**
 * The proof that a notice stood on this screen, kept until the server has it: by nothing else can it know that this phone
 * can be reached, and whether to try another way.
 */
export interface DisplayReceipt {
  readonly item: string; // the notice's id, which is leave enough to report it
  readonly displayedAt: number; // ms since the epoch, the phone's clock
}

const receiptKey = (item: string) => `shown/${item}`;

/** After a day the server has long told somebody else. Our choice. */
const receiptMaxAgeMs = 24 * 60 * 60_000;

const isRecent = ({ displayedAt }: DisplayReceipt, now: number) =>
  now - displayedAt < receiptMaxAgeMs && displayedAt <= now + 60_000;

export const storeDisplayReceipt = (cupboard: LocalStore, report: DisplayReceipt) =>
  cupboard.put(receiptKey(report.item), report);

/** What an answer means for a report: it has arrived, it may yet arrive, or the server will never want it. */
const isSettled = (status: number) => !(status >= 500 || status === 408 || status === 429);

/**
 * Reports all that were kept. Where the server can't be reached, the rest waits for the next push, tap or page.
 * @param post resolves with the answer's status; rejects where there was none
 */
export async function sendDisplayReceipts(
  cupboard: LocalStore,
  now: number,
  post: (report: DisplayReceipt) => Promise<number> = postDisplayReceipt,
): Promise<void> {
  const keys = (await cupboard.keys()).filter((key) => key.startsWith(receiptKey("")));
  for (const key of keys) {
    const report = await cupboard.get<DisplayReceipt>(key);
    if (report === undefined) continue; // reported by another window meanwhile
    if (isRecent(report, now)) {
      try {
        if (!isSettled(await post(report))) return;
      } catch {
        return; // no line: ordinary, and it stays kept
      }
    }
    await cupboard.remove(key);
  }
}

async function postDisplayReceipt({ item, displayedAt }: DisplayReceipt): Promise<number> {
  const response = await fetch(`/api/v1/notices/${encodeURIComponent(item)}/shown`, {
    method: "POST",
    keepalive: true, // outlives a worker that the phone puts to sleep as soon as the notice stands
    credentials: "same-origin",
    cache: "no-store",
    signal: AbortSignal.timeout(15_000),
    headers: { "content-type": "application/json", "x-pieward": "1" },
    body: JSON.stringify({ at: new Date(displayedAt).toISOString() }),
  });
  return response.status;
}
