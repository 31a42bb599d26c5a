import type { QueuedAction } from "../offline/actionQueue.ts";
import { sendDisplayReceipts, storeDisplayReceipt } from "../offline/displayReceipts.ts";
import {
  ownEndpointKey,
  type RenewalOutcome,
  sendRenewal,
  serverPublicKeyKey,
  storeRenewal,
  subscriptionRequest,
} from "../offline/endpointRenewal.ts";
import { type LocalStore, openLocalStore } from "../offline/localStore.ts";
import { runExclusively } from "../offline/runExclusively.ts";
import {
  type ActionProgress,
  actionFrom,
  isFinal,
  progressText,
  type SentAction,
  sendStoredActions,
  storeAction,
} from "./notificationActions.ts";
import {
  ownPath,
  type PushNotification,
  type PushNotificationData,
  readPush,
  silentNotification,
  silentRepeat,
} from "./pushNotification.ts";

/**
 * Runs beside the page, and without it: keeps the shell so that the notebook opens in the wood, shows every push and proves
 * it, and carries out what is answered on the notice itself. It never touches the API's answers; what is known of the feeders
 * is kept by the page.
 */

// The page's DOM types and a worker's can't stand in one program, so what is used here is named here.
interface ExtendableEvent {
  waitUntil(work: Promise<unknown>): void;
}
interface PushEvent extends ExtendableEvent {
  readonly data: { text(): string } | null;
  /** What a browser that knows the declarative form would show by itself. */
  readonly notification?: unknown;
}
interface NotificationClickEvent extends ExtendableEvent {
  readonly action: string; // empty: the notice itself was tapped
  readonly notification: Notification & { readonly data: unknown };
}
interface SyncEvent extends ExtendableEvent {
  readonly tag: string;
}
interface FetchEvent extends ExtendableEvent {
  readonly request: Request;
  respondWith(answer: Promise<Response>): void;
}
interface WorkerMessageEvent extends ExtendableEvent {
  readonly data: unknown;
}
interface SubscriptionChangeEvent extends ExtendableEvent {
  readonly oldSubscription?: PushSubscription | null;
  readonly newSubscription?: PushSubscription | null;
}
interface PageClient {
  readonly url: string;
  focus(): Promise<PageClient>;
  postMessage(message: unknown, ports?: readonly MessagePort[]): void;
}
interface WorkerScope {
  readonly location: Location;
  readonly registration: ServiceWorkerRegistration;
  readonly clients: {
    claim(): Promise<void>;
    matchAll(options: { type: "window"; includeUncontrolled: boolean }): Promise<readonly PageClient[]>;
    openWindow(url: string): Promise<PageClient | null>;
  };
  skipWaiting(): Promise<void>;
  addEventListener(kind: "install" | "activate", hear: (event: ExtendableEvent) => void): void;
  addEventListener(kind: "fetch", hear: (event: FetchEvent) => void): void;
  addEventListener(kind: "message", hear: (event: WorkerMessageEvent) => void): void;
  addEventListener(kind: "push", hear: (event: PushEvent) => void): void;
  addEventListener(kind: "notificationclick", hear: (event: NotificationClickEvent) => void): void;
  addEventListener(kind: "sync", hear: (event: SyncEvent) => void): void;
  addEventListener(kind: "pushsubscriptionchange", hear: (event: SubscriptionChangeEvent) => void): void;
}
declare const self: WorkerScope;

/** Put in by the build: every file of the shell, and a fingerprint of them all. */
declare const __SHELL_FILES__: readonly string[];
declare const __SHELL_VERSION__: string;

const shellName = `shell-${__SHELL_VERSION__}`;

// --- the shell -----------------------------------------------------------------------------------------------------

self.addEventListener("install", (event) => {
  // All or nothing: a shell with a file missing would break in the wood. The old worker serves on until the keeper agrees.
  event.waitUntil(
    caches
      .open(shellName)
      .then((shell) => shell.addAll(__SHELL_FILES__.map((path) => new Request(path, { cache: cacheMode(path) })))),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(self.clients.claim());
});

self.addEventListener("message", (event) => {
  const message = event.data as { kind?: unknown } | null;
  if (message?.kind === "takeOver") void self.skipWaiting();
  if (message?.kind === "opened") event.waitUntil(dropOlderShells());
});

/** What has its fingerprint in its name never changes: the page has just fetched most of it. */
const cacheMode = (path: string) => (path.startsWith("/assets/") ? "default" : "no-cache");

/** A window that doesn't answer within this is asleep, or of a build that doesn't know the question: it counts as an older one. */
const versionAnswerMs = 3_000;

/**
 * Windows of an older version go on fetching their screens from the shell that they came from, so it is kept until each
 * window says that it runs this one.
 */
async function dropOlderShells(): Promise<void> {
  const older = (await caches.keys()).filter((name) => name.startsWith("shell-") && name !== shellName);
  // Not while a newer one waits: its shell is no older one.
  if (older.length === 0 || self.registration.waiting !== null || self.registration.installing !== null) return;
  const scripts = await Promise.all((await openPages()).map(scriptOf));
  if (scripts.every((script) => script !== null && __SHELL_FILES__.includes(script)))
    await Promise.all(older.map((name) => caches.delete(name)));
}

/** @returns the path of the script that runs in this window; null where it doesn't say */
const scriptOf = (page: PageClient): Promise<string | null> =>
  new Promise((resolve) => {
    const { port1, port2 } = new MessageChannel();
    setTimeout(() => resolve(null), versionAnswerMs);
    port1.onmessage = ({ data }: MessageEvent<unknown>) => resolve(typeof data === "string" ? data : null);
    page.postMessage({ kind: "whichVersion" }, [port2]);
  });

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin || url.pathname.startsWith("/api/")) return;
  if (request.mode === "navigate") {
    event.respondWith(fromShell("/index.html", request));
    return;
  }
  if (__SHELL_FILES__.includes(url.pathname)) event.respondWith(fromShell(url.pathname, request));
  else if (url.pathname.startsWith("/assets/")) event.respondWith(fromOlderShell(request));
});

/** A window of an older version asks for a part of its own. */
const fromOlderShell = async (request: Request): Promise<Response> =>
  (await caches.match(request, { ignoreVary: true })) ?? fetch(request);

async function fromShell(path: string, request: Request): Promise<Response> {
  const shell = await caches.open(shellName);
  // The server answers with one of several encodings and says so by Vary; what is kept here is decoded.
  return (await shell.match(path, { ignoreVary: true })) ?? fetch(request);
}

// --- pushes --------------------------------------------------------------------------------------------------------

self.addEventListener("push", (event) => {
  event.waitUntil(
    (async () => {
      const notice = readPush(textOf(event), self.location.origin, event.notification ?? null);
      await showPush(notice);
      await reportDisplay(notice);
      await sendAll(); // there is a line just now
      if ((await sendRenewalOrWarn()) === "pending") await requestSync();
    })(),
  );
});

function textOf(event: PushEvent): string | null {
  try {
    return event.data?.text() ?? null;
  } catch {
    return null; // could not be decrypted to text: the plain notice is shown instead
  }
}

async function showPush(notice: PushNotification): Promise<void> {
  const { tag, data } = notice.options;
  const standing = await notificationsWithTag(tag);
  if (notice.closes) for (const old of standing) old.close();
  const isThere = data.item !== null && standing.some((old) => notificationData(old)?.item === data.item);
  const { title, options } = isThere ? silentRepeat(notice) : notice;
  await self.registration.showNotification(title, options as NotificationOptions);
}

/** Nothing may keep a push from being shown, least of all the look at what stands there already. */
const notificationsWithTag = (tag: string): Promise<readonly Notification[]> =>
  self.registration.getNotifications({ tag }).catch((cause: unknown) => {
    console.warn("What stands on the screen could not be seen.", cause);
    return [];
  });
const notificationData = (notice: Notification) => notice.data as PushNotificationData | null;

/** Opened anew by each life of the worker, and shared by its events. */
let openedStore: Promise<LocalStore> | null = null;
const localStore = () => {
  openedStore ??= openLocalStore();
  return openedStore;
};

async function reportDisplay({ options }: PushNotification): Promise<void> {
  const kept = await localStore();
  const now = Date.now();
  if (options.data.item !== null) await storeDisplayReceipt(kept, { item: options.data.item, displayedAt: now });
  await runExclusively(() => sendDisplayReceipts(kept, now));
}

// --- answers on the notice -----------------------------------------------------------------------------------------

self.addEventListener("notificationclick", (event) => {
  const { notification, action } = event;
  notification.close();
  const navigate = ownPath(notificationData(notification)?.navigate, self.location.origin);
  event.waitUntil(action === "" ? openPage(navigate) : performAction(action, notification, navigate));
});

async function openPage(path: string): Promise<void> {
  const pages = await openPages();
  const page = pages[0];
  if (page === undefined) {
    await self.clients.openWindow(path);
    return;
  }
  const focused = await page.focus();
  focused.postMessage({ kind: "open", path });
}
/** What changed here is looked at by each open page, so that none shows what was true before. */
async function notifyPages(kind: "acts" | "address"): Promise<void> {
  for (const page of await openPages()) page.postMessage({ kind });
}
const openPages = () => self.clients.matchAll({ type: "window", includeUncontrolled: true });

async function performAction(action: string, notification: Notification, navigate: string): Promise<void> {
  const { title, tag } = notification;
  const data = notificationData(notification);
  const act =
    data === null ? null : actionFrom(action, { title, tag, data: { ...data, navigate } }, newId(), Date.now());
  if (act === null) return openPage(navigate);
  await storeAction(await localStore(), act);
  const met = await sendAll();
  // Not met here: another event of this worker, or a page, was quicker in the moment between keeping and sending.
  const own = met.find((each) => each.action.id === act.id)?.progress ??
    finishedActions.get(act.id) ?? { kind: "sentByPage" };
  await showProgress(act, own);
  if (!isFinal(own)) await requestSync();
}

/** What became of acts in this life of the worker, by id: few, since a worker that has nothing to do is put to sleep. */
const finishedActions = new Map<string, ActionProgress>();

/**
 * Sends whatever waits, also what a page left behind. What was answered on a notice earlier is told in its place: where that
 * still stands, or where it came to nothing, which the keeper must know.
 */
async function sendAll(): Promise<readonly SentAction[]> {
  const kept = await localStore();
  const met = await runExclusively(() => sendStoredActions(kept, Date.now()));
  for (const { action, progress } of met) {
    if (action.notification === undefined || !isFinal(progress)) continue;
    finishedActions.set(action.id, progress);
    const stands = (await notificationsWithTag(action.notification.tag)).length > 0;
    if (stands || progress.kind !== "done") await showProgress(action, progress);
  }
  if (met.length > 0) await notifyPages("acts");
  return met;
}

const newId = () => crypto.randomUUID(); // a worker runs over HTTPS only, where it is there

async function showProgress(act: QueuedAction, progress: ActionProgress): Promise<void> {
  if (act.notification === undefined) return;
  const { title, tag, path } = act.notification;
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
  await showPush(silentNotification(title, progressText(act, progress, Date.now(), zone), tag, path));
}

const syncTag = "send-what-waits";

/** Where there is no background sync, the next push, tap or page sends what waits. */
async function requestSync(): Promise<void> {
  const { sync } = self.registration as { readonly sync?: { register(tag: string): Promise<void> } };
  await sync?.register(syncTag).catch((cause: unknown) => console.warn("No sync was granted.", cause));
}

self.addEventListener("sync", (event) => {
  if (event.tag !== syncTag) return;
  event.waitUntil(
    (async () => {
      const met = await sendAll();
      const kept = await localStore();
      await runExclusively(() => sendDisplayReceipts(kept, Date.now()));
      if ((await sendRenewalOrWarn()) === "pending") throw new Error("the server was not reached");
      // The browser tries a failed sync again by itself, later and later.
      if (met.some(({ progress }) => progress.kind === "pending")) throw new Error("the server was not reached");
    })(),
  );
});

self.addEventListener("pushsubscriptionchange", (event) => {
  event.waitUntil(renewEndpoint(event));
});

/** The push service has withdrawn this phone's address: get a new one, keep it, and tell the server, now or when it can be. */
async function renewEndpoint(event: SubscriptionChangeEvent): Promise<void> {
  const kept = await localStore();
  const old = event.oldSubscription ?? null;
  const replaces = old?.endpoint ?? (await kept.get<string>(ownEndpointKey)) ?? null;
  if (replaces === null) return; // this phone was not switched on
  try {
    const renewed = event.newSubscription ?? (await subscribeAgain(kept, old));
    await storeRenewal(kept, { replaces, ...subscriptionRequest(renewed) });
  } catch (cause) {
    console.warn("No new address was given; the page asks for one when it is opened.", cause);
    await showEndpointLost();
    return;
  }
  if ((await sendRenewalOrWarn()) === "pending") await requestSync();
}

async function sendRenewalOrWarn(): Promise<RenewalOutcome> {
  const sent = await sendStoredRenewal();
  if (sent === "signedOut" || sent === "expired") await showEndpointLost();
  return sent;
}

async function sendStoredRenewal(): Promise<RenewalOutcome> {
  const sent = await sendRenewal(await localStore());
  if (sent !== "none") await notifyPages("address");
  return sent;
}

// Each start of the worker is a chance to hand in what could not be told before.
void sendStoredRenewal().catch((cause: unknown) => console.warn("A renewed address could not be handed in.", cause));

const showEndpointLost = () =>
  showPush(readPush(JSON.stringify({ notification: endpointLostNotification }), self.location.origin));

const endpointLostNotification = {
  title: "This phone may no longer be woken",
  body: "Open Pieward and switch it on again under Phones.",
  navigate: "/phones",
  tag: "phone-lost",
};

/** Some browsers name neither subscription in their event; subscribe() returns one that is there already. */
async function subscribeAgain(kept: LocalStore, old: PushSubscription | null): Promise<PushSubscription> {
  const key = old?.options.applicationServerKey ?? (await kept.get<string>(serverPublicKeyKey)) ?? (await serverKey());
  return self.registration.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: key });
}

async function serverKey(): Promise<string> {
  const response = await fetch("/api/v1/phones", { credentials: "same-origin" });
  const { publicKey } = (await response.json()) as { publicKey: string };
  return publicKey;
}
