import { noticeFrom, ownPath, type PushNotice } from "./pushNotice.ts";

/**
 * Runs beside the page, and without it: keeps the shell so that the notebook opens in the wood, and shows every push.
 * It never touches the API's answers; what is known of the feeders is kept by the page itself.
 */

// The page's DOM types and a worker's can't stand in one program, so what is used here is named here.
interface Waits {
  waitUntil(work: Promise<unknown>): void;
}
interface PushGiven extends Waits {
  readonly data: { text(): string } | null;
}
interface Tapped extends Waits {
  readonly notification: Notification & { readonly data: unknown };
}
interface Fetched extends Waits {
  readonly request: Request;
  respondWith(answer: Promise<Response>): void;
}
interface Told {
  readonly data: unknown;
}
interface SubscriptionLost extends Waits {
  readonly oldSubscription?: PushSubscription | null;
  readonly newSubscription?: PushSubscription | null;
}
interface PageClient {
  readonly url: string;
  focus(): Promise<PageClient>;
  postMessage(message: unknown): void;
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
  addEventListener(kind: "install" | "activate", hear: (event: Waits) => void): void;
  addEventListener(kind: "fetch", hear: (event: Fetched) => void): void;
  addEventListener(kind: "message", hear: (event: Told) => void): void;
  addEventListener(kind: "push", hear: (event: PushGiven) => void): void;
  addEventListener(kind: "notificationclick", hear: (event: Tapped) => void): void;
  addEventListener(kind: "pushsubscriptionchange", hear: (event: SubscriptionLost) => void): void;
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
      .then((shell) => shell.addAll(__SHELL_FILES__.map((path) => new Request(path, { cache: "no-cache" })))),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      const names = await caches.keys();
      await Promise.all(
        names.filter((name) => name.startsWith("shell-") && name !== shellName).map((name) => caches.delete(name)),
      );
      await self.clients.claim();
    })(),
  );
});

self.addEventListener("message", (event) => {
  const told = event.data as { kind?: unknown } | null;
  if (told?.kind === "takeOver") void self.skipWaiting();
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
});

async function fromShell(path: string, request: Request): Promise<Response> {
  const shell = await caches.open(shellName);
  return (await shell.match(path)) ?? fetch(request);
}

// --- pushes --------------------------------------------------------------------------------------------------------

self.addEventListener("push", (event) => {
  event.waitUntil(show(noticeFrom(textOf(event), self.location.origin)));
});

function textOf(event: PushGiven): string | null {
  try {
    return event.data?.text() ?? null;
  } catch {
    return null; // could not be decrypted to text: the plain notice is shown instead
  }
}

async function show(notice: PushNotice): Promise<void> {
  await self.registration.showNotification(notice.title, notice.options);
}

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  const data = event.notification.data as { navigate?: unknown } | null;
  event.waitUntil(goTo(ownPath(data?.navigate, self.location.origin)));
});

async function goTo(path: string): Promise<void> {
  const pages = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
  const page = pages[0];
  if (page === undefined) {
    await self.clients.openWindow(path);
    return;
  }
  const focused = await page.focus();
  focused.postMessage({ kind: "open", path });
}

self.addEventListener("pushsubscriptionchange", (event) => {
  event.waitUntil(renew(event));
});

/** The push service has withdrawn this phone's address: get a new one and tell the server, or alarms would be lost. */
async function renew(event: SubscriptionLost): Promise<void> {
  const old = event.oldSubscription ?? null;
  const renewed = event.newSubscription ?? (await subscribeAnew(old));
  const { endpoint, keys } = renewed.toJSON();
  const response = await fetch("/api/v1/phones", {
    method: "POST",
    credentials: "same-origin",
    headers: { "content-type": "application/json", "x-pieward": "1" },
    body: JSON.stringify({ endpoint, keys, replaces: old?.endpoint ?? null }),
  });
  if (!response.ok) {
    await show(noticeFrom(JSON.stringify({ notification: lostNotice }), self.location.origin));
  }
}

const lostNotice = {
  title: "This phone may no longer be woken",
  body: "Open Pieward and switch it on again under Phones.",
  navigate: "/phones",
  tag: "phone-lost",
};

async function subscribeAnew(old: PushSubscription | null): Promise<PushSubscription> {
  const key = old?.options.applicationServerKey ?? (await serverKey());
  return self.registration.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: key });
}

async function serverKey(): Promise<string> {
  const response = await fetch("/api/v1/phones", { credentials: "same-origin" });
  const { publicKey } = (await response.json()) as { publicKey: string };
  return publicKey;
}
