// @vitest-environment happy-dom
import { afterEach, beforeEach, describe, expect, it, vi } from "vitest";
import { ownEndpointKey, sendRenewal, storedRenewal, storeRenewal } from "../../client/offline/endpointRenewal.ts";
import { type LocalStore, memoryStore } from "../../client/offline/localStore.ts";
import { signedIn } from "../../client/state/home.ts";
import { ownEndpoint, switchOn } from "../../client/state/ownPhone.ts";
import { isRenewalPending, openPhones, phones, storedEndpoint } from "../../client/state/phones.ts";
import { problem } from "./page.tsx";
import { phonesViewFixture } from "./viewFixtures.ts";

/** Behaves as browsers do: subscribe() returns the subscription that is there; only after unsubscribe() comes a new one. */
class StandInPush {
  current: PushSubscription | null = null;
  given = 0;
  sticky = false; // a browser that hands out the same address for ever
  key: ArrayBuffer | null = null;

  getSubscription = async () => this.current;
  subscribe = async ({ applicationServerKey }: { applicationServerKey: Uint8Array }) => {
    if (this.current === null) this.give(applicationServerKey.buffer as ArrayBuffer);
    return this.current as unknown as PushSubscription;
  };
  give(key: ArrayBuffer | null = this.key): void {
    if (!this.sticky || this.given === 0) this.given += 1;
    this.key = key;
    const endpoint = `https://push.example/own-${this.given}`;
    this.current = {
      endpoint,
      options: { applicationServerKey: key },
      toJSON: () => ({ endpoint, keys: { p256dh: "p", auth: "a" } }),
      unsubscribe: async () => {
        this.current = null;
        return true;
      },
    } as unknown as PushSubscription;
  }
}

let push: StandInPush;
let requests: { method: string; path: string; body: Record<string, unknown> }[];
let cut: boolean;
let listed: string[];
let gone: string[];
let notification: { permission: string; requestPermission: () => Promise<string> };

beforeEach(() => {
  [push, requests, cut, listed, gone] = [new StandInPush(), [], false, [], []];
  notification = { permission: "granted", requestPermission: async () => notification.permission };
  vi.stubGlobal("isSecureContext", true);
  vi.stubGlobal("Notification", notification);
  const registration = { pushManager: push };
  vi.stubGlobal("navigator", {
    userAgent: "Mobile Android",
    maxTouchPoints: 0,
    permissions: undefined,
    serviceWorker: { ready: Promise.resolve(registration), getRegistration: async () => registration },
  });
  vi.stubGlobal("fetch", async (path: string, init: RequestInit) => {
    if (cut) throw new TypeError("no connection");
    const body = typeof init.body === "string" ? (JSON.parse(init.body) as Record<string, unknown>) : {};
    const method = init.method ?? "GET";
    requests.push({ method, path: path.replace("/api/v1", ""), body });
    const endpoint = String(body.endpoint);
    if (method !== "GET" && gone.includes(endpoint))
      return new Response(JSON.stringify(problem(409, "endpoint: is no longer valid")), { status: 409 });
    if (method === "PUT" || (method === "POST" && path.endsWith("/phones")))
      listed = [...listed.filter((each) => each !== body.replaces), endpoint];
    return new Response(JSON.stringify(view()), { status: 200 });
  });
  phones.value = null;
  ownEndpoint.value = null;
  storedEndpoint.value = null;
  isRenewalPending.value = false;
  signedIn.value = "yes";
});
afterEach(() => vi.unstubAllGlobals());

const canned = phonesViewFixture(0);
const view = () => ({
  ...canned,
  phones: listed.map((endpoint, n) => ({ ...(canned.phones[0] as object), id: `own-${n}`, endpoint })) as never,
  gone: gone.map((endpoint) => ({ endpoint, label: "Pocket", goneAt: "2026-01-15T09:00:00Z" })),
});
const changes = () => requests.filter(({ method }) => method !== "GET");

describe("turning notifications on for this phone", () => {
  it("unsubscribes an endpoint that the server does not list, and sends another", async () => {
    push.give();
    gone = ["https://push.example/own-1"];
    expect((await switchOn(view(), "Pocket", null)).kind).toBe("ok");
    expect(changes()).toMatchObject([
      { method: "POST", body: { endpoint: "https://push.example/own-2", replaces: "https://push.example/own-1" } },
    ]);
  });

  it("unsubscribes one that was made for another server key, and leaves a valid one that is listed", async () => {
    await switchOn(view(), "Pocket", null);
    expect((await switchOn(view(), "Pocket", "https://push.example/own-1")).kind).toBe("ok");
    expect(push.given).toBe(1);
    await switchOn({ ...view(), publicKey: "AAAA" }, "Pocket", "https://push.example/own-1");
    expect(changes().at(-1)?.body).toMatchObject({ endpoint: "https://push.example/own-2" });
  });

  it("fails where the browser gives the same expired endpoint again, and sends nothing", async () => {
    push.sticky = true;
    push.give();
    gone = ["https://push.example/own-1"];
    expect((await switchOn(view(), "Pocket", null)).kind).toBe("sameAddress");
    expect(changes()).toEqual([]);
  });
});

describe("an endpoint that the browser has replaced", () => {
  const switchedOn = async (): Promise<LocalStore> => {
    push.give();
    listed = ["https://push.example/own-1"];
    const localStore = memoryStore();
    await localStore.put(ownEndpointKey, "https://push.example/own-1");
    return localStore;
  };

  it("is detected on opening without any event, and replaces the one that the server knows", async () => {
    const localStore = await switchedOn();
    push.give();
    await openPhones(localStore);
    expect(changes()).toMatchObject([
      { method: "PUT", body: { endpoint: "https://push.example/own-2", replaces: "https://push.example/own-1" } },
    ]);
    expect(storedEndpoint.value).toBe("https://push.example/own-2");
  });

  it("is stored while the server can't be reached, shown on the page, and sent when it can be", async () => {
    const localStore = await switchedOn();
    push.give();
    cut = true;
    await openPhones(localStore);
    expect([isRenewalPending.value, storedEndpoint.value]).toEqual([true, "https://push.example/own-1"]);
    cut = false;
    dispatchEvent(new Event("online"));
    await vi.waitFor(() => expect(isRenewalPending.value).toBe(false));
    expect(listed).toEqual(["https://push.example/own-2"]);
    expect(await storedRenewal(localStore)).toBeUndefined();
  });

  it("replaced twice meanwhile, replaces the one that the server still knows", async () => {
    const localStore = memoryStore();
    const keys = { p256dh: "p", auth: "a" };
    await storeRenewal(localStore, { replaces: "one", endpoint: "two", keys });
    await storeRenewal(localStore, { replaces: "two", endpoint: "three", keys });
    expect(await storedRenewal(localStore)).toMatchObject({ replaces: "one", endpoint: "three" });
  });

  it.each([
    [503, "pending", true],
    [401, "signedOut", true],
    [404, "removed", false],
    [409, "expired", false],
  ] as const)("after a response %i is %s", async (status, outcome, isStored) => {
    const localStore = memoryStore();
    await storeRenewal(localStore, { replaces: "one", endpoint: "two", keys: { p256dh: "p", auth: "a" } });
    expect(await sendRenewal(localStore, async () => status)).toBe(outcome);
    expect((await storedRenewal(localStore)) !== undefined).toBe(isStored);
  });

  it("is not requested where the permission was removed, which is sent to the server at once", async () => {
    const localStore = await switchedOn();
    await openPhones(localStore);
    notification.permission = "denied";
    push.current = null;
    dispatchEvent(new Event("focus"));
    await vi.waitFor(() =>
      expect(changes()).toMatchObject([
        { path: "/phones/permission", body: { endpoint: "https://push.example/own-1", allowed: false } },
      ]),
    );
  });
});
