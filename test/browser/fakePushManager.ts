import type { BrowserContext } from "playwright-core";
import type { Phone } from "../../server/ports.ts";
import { untilWorkerControls } from "./browserPhone.ts";

/**
 * Stands in for the push side of a browser, since a real one needs its maker's push service. It keeps to the Push API:
 * subscribe() returns the subscription that is there, alive or dead; only after unsubscribe() comes another. The page and its
 * worker share one subscription, which outlives both.
 */
export interface FakePushManager {
  /** What was called, by whom, oldest first: "page subscribe 0". The number says which of the endpoints it was about. */
  calls(): Promise<readonly string[]>;
  /** Which of the endpoints the browser holds; null: none. */
  current(): Promise<number | null>;
  /**
   * The browser's endpoint is no longer valid, and it tells the worker.
   * @param says `both`: the event names the old and the new one; `neither`: the worker has to ask for another itself
   */
  change(says: "both" | "neither"): Promise<void>;
}

const shelf = "stand-in-push"; // a cache, because the page and its worker both reach it
const statePath = "/stand-in-push-state";

interface Kept {
  readonly pool: readonly { readonly endpoint: string; readonly p256dh: string; readonly auth: string }[];
  readonly current: number | null;
  readonly given: number;
  readonly key: readonly number[] | null; // of the server that the subscription was made for
  readonly calls: readonly string[];
}

/** @param pool the endpoints that are given out, one after the other */
export async function fakePushManager(context: BrowserContext, pool: readonly Phone[]): Promise<FakePushManager> {
  const page = context.pages()[0];
  if (page === undefined) throw new Error("expected an open page");
  await untilWorkerControls(page);
  const worker = context.serviceWorkers()[0];
  if (worker === undefined) throw new Error("expected the service worker to run");
  const first: Kept = {
    pool: pool.map(({ endpoint, p256dh, auth }) => ({ endpoint, p256dh, auth })),
    current: null,
    given: 0,
    key: null,
    calls: [],
  };
  await worker.evaluate(
    async ([name, path, text]) => {
      await (await caches.open(name)).put(path, new Response(text));
    },
    [shelf, statePath, JSON.stringify(first)] as const,
  );
  await context.addInitScript(behaveAsBrowser, { shelf, statePath, who: "page" });
  await worker.evaluate(behaveAsBrowser, { shelf, statePath, who: "worker" });
  await page.reload();

  const kept = (): Promise<Kept> =>
    worker.evaluate(async ([name, path]) => (await (await (await caches.open(name)).match(path))?.json()) as never, [
      shelf,
      statePath,
    ] as const);
  return {
    calls: async () => (await kept()).calls,
    current: async () => (await kept()).current,
    change: (says) =>
      worker.evaluate(async (told) => {
        const { replaced } = globalThis as unknown as { replaced(by: string): Promise<Record<string, unknown>> };
        const subscriptions = await replaced(told);
        const work: Promise<unknown>[] = [];
        const changed = new Event("pushsubscriptionchange");
        Object.assign(changed, subscriptions, {
          waitUntil: (each: Promise<unknown>) => void work.push(each),
        });
        dispatchEvent(changed);
        await Promise.all(work);
      }, says),
  };
}

/** Runs inside the browser, in the page and in the worker: nothing from outside of it is there. */
function behaveAsBrowser({ shelf, statePath, who }: { shelf: string; statePath: string; who: string }): void {
  if (!("PushManager" in globalThis)) return; // an empty page, before the first address
  const read = async (): Promise<Kept> => {
    const answer = await (await caches.open(shelf)).match(statePath);
    if (answer === undefined) throw new Error("expected the stand-in's state");
    return answer.json();
  };
  const change = async (next: Partial<Kept>, call: string) => {
    const before = await read();
    const after = { ...before, ...next, calls: [...before.calls, `${who} ${call}`] };
    await (await caches.open(shelf)).put(statePath, new Response(JSON.stringify(after)));
  };
  const subscription = ({ pool, key }: Kept, index: number | null) => {
    const one = index === null ? undefined : pool[index];
    if (one === undefined) return null;
    const { endpoint, p256dh, auth } = one;
    return {
      endpoint,
      options: { applicationServerKey: key === null ? null : new Uint8Array(key).buffer, userVisibleOnly: true },
      toJSON: () => ({ endpoint, expirationTime: null, keys: { p256dh, auth } }),
      unsubscribe: async () => {
        await change({ current: null }, `unsubscribe ${index}`);
        return true;
      },
    };
  };
  const mayNotify = () => Notification.permission === "granted";
  const standIn = {
    getSubscription: async () => {
      const kept = await read();
      if (mayNotify()) return subscription(kept, kept.current);
      // A browser gives up the subscription of a page that may not notify any more.
      if (kept.current !== null) await change({ current: null }, `give up ${kept.current}`);
      return null;
    },
    subscribe: async ({ applicationServerKey }: { applicationServerKey: Uint8Array<ArrayBuffer> | string }) => {
      if (!mayNotify()) throw new DOMException("permission denied", "NotAllowedError");
      const kept = await read();
      const key = typeof applicationServerKey === "string" ? kept.key : [...new Uint8Array(applicationServerKey)];
      const index = kept.current ?? kept.given;
      const given = Math.max(kept.given, index + 1);
      await change({ current: index, given, key }, `subscribe ${index}`);
      return subscription({ ...kept, key }, index);
    },
  };
  Object.assign(PushManager.prototype, standIn);
  Object.assign(globalThis, {
    replaced: async (by: string) => {
      const kept = await read();
      if (by === "neither") {
        await change({ current: null }, `lost ${kept.current}`);
        return {};
      }
      const oldSubscription = subscription(kept, kept.current);
      const newSubscription = subscription(kept, kept.given);
      await change({ current: kept.given, given: kept.given + 1 }, `replaced ${kept.current}`);
      return { oldSubscription, newSubscription };
    },
  });
}
