import type { BrowserContext } from "playwright-core";
import type { Phone } from "../../server/ports.ts";
import { untilWorkerControls } from "./browserPhone.ts";

/**
 * Replaces the push part of a browser, since a real one needs its maker's push service. It follows the Push API:
 * subscribe() returns the subscription that exists, valid or expired; another one only after unsubscribe(). The page and its
 * worker share one subscription, which outlives both.
 */
export interface FakePushManager {
  /** The calls and their callers, oldest first: "page subscribe 0". The number is the index of the endpoint. */
  calls(): Promise<readonly string[]>;
  /** The index of the browser's endpoint; null: none. */
  current(): Promise<number | null>;
  /**
   * The browser's endpoint is no longer valid, and the worker gets an event.
   * @param named `both`: the event names the old and the new one; `neither`: the worker has to subscribe again
   */
  change(named: "both" | "neither"): Promise<void>;
}

const shelf = "fake-push"; // a cache, because the page and its worker both reach it
const statePath = "/fake-push-state";

interface FakeState {
  readonly pool: readonly { readonly endpoint: string; readonly p256dh: string; readonly auth: string }[];
  readonly current: number | null;
  readonly given: number;
  readonly key: readonly number[] | null; // of the server that the subscription was made for
  readonly calls: readonly string[];
}

/** @param pool the endpoints that are given out, one after the other */
export async function fakePushManager(
  context: BrowserContext,
  pool: readonly Pick<Phone, "endpoint" | "p256dh" | "auth">[],
): Promise<FakePushManager> {
  const page = context.pages()[0];
  if (page === undefined) throw new Error("expected an open page");
  await untilWorkerControls(page);
  const worker = context.serviceWorkers()[0];
  if (worker === undefined) throw new Error("expected the service worker to run");
  const first: FakeState = {
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

  const state = (): Promise<FakeState> =>
    worker.evaluate(async ([name, path]) => (await (await (await caches.open(name)).match(path))?.json()) as never, [
      shelf,
      statePath,
    ] as const);
  return {
    calls: async () => (await state()).calls,
    current: async () => (await state()).current,
    change: (named) =>
      worker.evaluate(async (namedIn) => {
        const { replaced } = globalThis as unknown as { replaced(by: string): Promise<Record<string, unknown>> };
        const subscriptions = await replaced(namedIn);
        const work: Promise<unknown>[] = [];
        const changed = new Event("pushsubscriptionchange");
        Object.assign(changed, subscriptions, {
          waitUntil: (each: Promise<unknown>) => void work.push(each),
        });
        dispatchEvent(changed);
        await Promise.all(work);
      }, named),
  };
}

/** Runs inside the browser, in the page and in the worker: nothing from outside of it is there. */
function behaveAsBrowser({ shelf, statePath, who }: { shelf: string; statePath: string; who: string }): void {
  if (!("PushManager" in globalThis)) return; // an empty page, before the first address
  const read = async (): Promise<FakeState> => {
    const stored = await (await caches.open(shelf)).match(statePath);
    if (stored === undefined) throw new Error("expected the stored state");
    return stored.json();
  };
  const change = async (next: Partial<FakeState>, call: string) => {
    const before = await read();
    const after = { ...before, ...next, calls: [...before.calls, `${who} ${call}`] };
    await (await caches.open(shelf)).put(statePath, new Response(JSON.stringify(after)));
  };
  const subscription = ({ pool, key }: FakeState, index: number | null) => {
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
      const state = await read();
      if (mayNotify()) return subscription(state, state.current);
      // A browser removes the subscription of a page without permission.
      if (state.current !== null) await change({ current: null }, `give up ${state.current}`);
      return null;
    },
    subscribe: async ({ applicationServerKey }: { applicationServerKey: Uint8Array<ArrayBuffer> | string }) => {
      if (!mayNotify()) throw new DOMException("permission denied", "NotAllowedError");
      const state = await read();
      const key = typeof applicationServerKey === "string" ? state.key : [...new Uint8Array(applicationServerKey)];
      const index = state.current ?? state.given;
      const given = Math.max(state.given, index + 1);
      await change({ current: index, given, key }, `subscribe ${index}`);
      return subscription({ ...state, key }, index);
    },
  };
  Object.assign(PushManager.prototype, standIn);
  Object.assign(globalThis, {
    replaced: async (by: string) => {
      const state = await read();
      if (by === "neither") {
        await change({ current: null }, `lost ${state.current}`);
        return {};
      }
      const oldSubscription = subscription(state, state.current);
      const newSubscription = subscription(state, state.given);
      await change({ current: state.given, given: state.given + 1 }, `replaced ${state.current}`);
      return { oldSubscription, newSubscription };
    },
  });
}
