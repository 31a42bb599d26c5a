import * as text from "#text/notifications.ts";
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
import { fetchImage } from "./notificationImage.ts";
import {
  ownPath,
  type PushNotification,
  type PushNotificationData,
  readPush,
  silentNotification,
  silentRepeat,
} from "./pushNotification.ts";

/**
 * Runs with the page and without it: stores the files of the page so that it opens without a connection, shows every push
 * and sends its display receipt, and performs the actions of notifications. It never stores the API's responses: the page does.
 */

// TypeScript can't use the types of a page and of a worker in one program, so those that are used are declared here.
interface ExtendableEvent {
  waitUntil(work: Promise<unknown>): void;
}
interface PushEvent extends ExtendableEvent {
  readonly data: { text(): string } | null;
  /** What a browser that knows the declarative form would show. */
  readonly notification?: unknown;
}
interface NotificationClickEvent extends ExtendableEvent {
  readonly action: string; // empty: the notification itself was tapped
  readonly notification: Notification & { readonly data: unknown };
}
interface SyncEvent extends ExtendableEvent {
  readonly tag: string;
}
interface FetchEvent extends ExtendableEvent {
  readonly request: Request;
  respondWith(response: Promise<Response>): void;
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
  addEventListener(kind: "install" | "activate", listener: (event: ExtendableEvent) => void): void;
  addEventListener(kind: "fetch", listener: (event: FetchEvent) => void): void;
  addEventListener(kind: "message", listener: (event: WorkerMessageEvent) => void): void;
  addEventListener(kind: "push", listener: (event: PushEvent) => void): void;
  addEventListener(kind: "notificationclick", listener: (event: NotificationClickEvent) => void): void;
  addEventListener(kind: "sync", listener: (event: SyncEvent) => void): void;
  addEventListener(kind: "pushsubscriptionchange", listener: (event: SubscriptionChangeEvent) => void): void;
}
declare const self: WorkerScope;

/** Inserted by the build: every file of the page, and a fingerprint of them all. */
declare const __SHELL_FILES__: readonly string[];
declare const __SHELL_VERSION__: string;

const shellName = `shell-${__SHELL_VERSION__}`;

// --- the shell -----------------------------------------------------------------------------------------------------

self.addEventListener("install", (event) => {
  // All or nothing: a page with a file missing would break without a connection. The old worker stays until the person agrees.
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

/** A window that does not reply in this time is asleep or of a build that doesn't know the message: it counts as older. */
const versionAnswerMs = 3_000;

/** Windows of an older version still load their screens from the older files, so these stay until each window runs this one. */
async function dropOlderShells(): Promise<void> {
  const older = (await caches.keys()).filter((name) => name.startsWith("shell-") && name !== shellName);
  // Not while a newer version is ready: its files are not older.
  if (older.length === 0 || self.registration.waiting !== null || self.registration.installing !== null) return;
  const scripts = await Promise.all((await openPages()).map(scriptOf));
  if (scripts.every((script) => script !== null && __SHELL_FILES__.includes(script)))
    await Promise.all(older.map((name) => caches.delete(name)));
}

/** @returns the path of the script that runs in this window; null where it does not reply */
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

/** A window of an older version loads one of its own files. */
const fromOlderShell = async (request: Request): Promise<Response> =>
  (await caches.match(request, { ignoreVary: true })) ?? fetch(request);

async function fromShell(path: string, request: Request): Promise<Response> {
  const shell = await caches.open(shellName);
  // The server sends one of several encodings, with Vary; what is stored here is decoded.
  return (await shell.match(path, { ignoreVary: true })) ?? fetch(request);
}

// --- pushes --------------------------------------------------------------------------------------------------------

self.addEventListener("push", (event) => {
  event.waitUntil(
    (async () => {
      const notification = readPush(textOf(event), self.location.origin, event.notification ?? null);
      await showPush(notification);
      await reportDisplay(notification);
      await addImage(notification);
      await sendAll(); // there is a connection now
      if ((await sendRenewalOrWarn()) === "pending") await requestSync();
    })(),
  );
});

function textOf(event: PushEvent): string | null {
  try {
    return event.data?.text() ?? null;
  } catch {
    return null; // could not be decrypted to text: the default notification is shown instead
  }
}

async function showPush(notification: PushNotification): Promise<void> {
  const { tag, data } = notification.options;
  const shown = await notificationsWithTag(tag);
  if (notification.isClosing) for (const old of shown) old.close();
  const isRepeat = data.item !== null && shown.some((old) => notificationData(old)?.item === data.item);
  const { title, options } = isRepeat ? silentRepeat(notification) : notification;
  await self.registration.showNotification(title, options as NotificationOptions);
}

/** The notification doesn't wait for its picture, which replaces it without a sound, where it is still on the screen. */
async function addImage(notification: PushNotification): Promise<void> {
  const { tag, data } = notification.options;
  const image = notification.image === undefined ? null : await fetchImage(notification.image);
  if (image === null) return;
  const isShown = (await notificationsWithTag(tag)).some((shown) => notificationData(shown)?.item === data.item);
  if (!isShown) return;
  const { title, options } = silentRepeat(notification);
  await self.registration.showNotification(title, { ...options, image } as NotificationOptions);
}

/** A push must be shown even where the notifications that are shown already can't be read. */
const notificationsWithTag = (tag: string): Promise<readonly Notification[]> =>
  self.registration.getNotifications({ tag }).catch((cause: unknown) => {
    console.warn("The notifications on the screen could not be read.", cause);
    return [];
  });
const notificationData = (notification: Notification) => notification.data as PushNotificationData | null;

/** Opened at each start of the worker, and shared by its events. */
let openedStore: Promise<LocalStore> | null = null;
const localStore = () => {
  openedStore ??= openLocalStore();
  return openedStore;
};

async function reportDisplay({ options }: PushNotification): Promise<void> {
  const store = await localStore();
  const now = Date.now();
  if (options.data.item !== null) await storeDisplayReceipt(store, { item: options.data.item, displayedAt: now });
  await runExclusively(() => sendDisplayReceipts(store, now));
}

// --- buttons of notifications ---------------------------------------------------------------------------------------

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
/** Each open page loads what changed, so that none shows an older state. */
async function notifyPages(kind: "actions" | "address"): Promise<void> {
  for (const page of await openPages()) page.postMessage({ kind });
}
const openPages = () => self.clients.matchAll({ type: "window", includeUncontrolled: true });

async function performAction(action: string, notification: Notification, navigate: string): Promise<void> {
  const { title, tag } = notification;
  const data = notificationData(notification);
  const queued =
    data === null ? null : actionFrom(action, { title, tag, data: { ...data, navigate } }, newId(), Date.now());
  if (queued === null) return openPage(navigate);
  await storeAction(await localStore(), queued);
  const sent = await sendAll();
  // Not sent here: another event of this worker, or a page, sent it between storing and sending.
  const own = sent.find((each) => each.action.id === queued.id)?.progress ??
    finishedActions.get(queued.id) ?? { kind: "sentByPage" };
  await showProgress(queued, own);
  if (!isFinal(own)) await requestSync();
}

/** Results of actions since the start of this worker, by id: few, since an idle worker is stopped. */
const finishedActions = new Map<string, ActionProgress>();

/**
 * Sends the queue, also the actions of closed pages. The result of an earlier button is shown in place of its notification:
 * where that is still shown, or where the action failed, which the keeper must know.
 */
async function sendAll(): Promise<readonly SentAction[]> {
  const store = await localStore();
  const sent = await runExclusively(() => sendStoredActions(store, Date.now()));
  for (const { action, progress } of sent) {
    if (action.notification === undefined || !isFinal(progress)) continue;
    finishedActions.set(action.id, progress);
    const isShown = (await notificationsWithTag(action.notification.tag)).length > 0;
    if (isShown || progress.kind !== "done") await showProgress(action, progress);
  }
  if (sent.length > 0) await notifyPages("actions");
  return sent;
}

const newId = () => crypto.randomUUID(); // exists in a worker, which needs HTTPS

async function showProgress(action: QueuedAction, progress: ActionProgress): Promise<void> {
  if (action.notification === undefined) return;
  const { title, tag, path } = action.notification;
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
  await showPush(silentNotification(title, progressText(action, progress, Date.now(), zone), tag, path));
}

const syncTag = "send-what-waits";

/** Without background sync the next push, tap or page sends the queue. */
async function requestSync(): Promise<void> {
  const { sync } = self.registration as { readonly sync?: { register(tag: string): Promise<void> } };
  await sync?.register(syncTag).catch((cause: unknown) => console.warn("No sync was granted.", cause));
}

self.addEventListener("sync", (event) => {
  if (event.tag !== syncTag) return;
  event.waitUntil(
    (async () => {
      const sent = await sendAll();
      const store = await localStore();
      await runExclusively(() => sendDisplayReceipts(store, Date.now()));
      if ((await sendRenewalOrWarn()) === "pending") throw new Error("the server was not reached");
      // The browser repeats a failed sync, at growing intervals.
      if (sent.some(({ progress }) => progress.kind === "pending")) throw new Error("the server was not reached");
    })(),
  );
});

self.addEventListener("pushsubscriptionchange", (event) => {
  event.waitUntil(renewEndpoint(event));
});

/** The push service ended this phone's endpoint: get a new one, store it, and send it to the server, now or later. */
async function renewEndpoint(event: SubscriptionChangeEvent): Promise<void> {
  const store = await localStore();
  const old = event.oldSubscription ?? null;
  const replaces = old?.endpoint ?? (await store.get<string>(ownEndpointKey)) ?? null;
  if (replaces === null) return; // notifications are off on this phone
  try {
    const renewed = event.newSubscription ?? (await subscribeAgain(store, old));
    await storeRenewal(store, { replaces, ...subscriptionRequest(renewed) });
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

// Each start of the worker is a chance to send a renewed endpoint that could not be sent before.
void sendStoredRenewal().catch((cause: unknown) => console.warn("A renewed address could not be sent.", cause));

const showEndpointLost = () =>
  showPush(readPush(JSON.stringify({ notification: endpointLostNotification }), self.location.origin));

const endpointLostNotification = {
  title: text.phoneLostTitle,
  body: text.phoneLostText,
  navigate: "/phones",
  tag: "phone-lost",
};

/** Some browsers name neither subscription in their event; subscribe() returns one that is there already. */
async function subscribeAgain(store: LocalStore, old: PushSubscription | null): Promise<PushSubscription> {
  const key = old?.options.applicationServerKey ?? (await store.get<string>(serverPublicKeyKey)) ?? (await serverKey());
  return self.registration.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: key });
}

async function serverKey(): Promise<string> {
  const response = await fetch("/api/v1/phones", { credentials: "same-origin" });
  const { publicKey } = (await response.json()) as { publicKey: string };
  return publicKey;
}
