import { signal } from "@preact/signals";
import type { PhonesView } from "../../server/contract/api.ts";
import { type ApiResult, api } from "../api/api.ts";
import {
  ownEndpointKey,
  removeRenewal,
  sendRenewal,
  serverPublicKeyKey,
  storedRenewal,
  storeRenewal,
  subscriptionRequest,
} from "../offline/endpointRenewal.ts";
import type { LocalStore } from "../offline/localStore.ts";
import { phoneChangeCount, signedIn, updateConnectionState } from "./home.ts";
import {
  browserSupport,
  fromBase64Url,
  notificationPermission,
  ownEndpoint,
  ownSubscription,
  updateOwnEndpoint,
} from "./ownPhone.ts";

/** The person's phones as the server knows them; null until they are loaded. */
export const phones = signal<PhonesView | null>(null);

/** The endpoint by which the server last listed this very browser; null where it never did. */
export const storedEndpoint = signal<string | null>(null);

/** This phone has a new endpoint that the server has not got yet. */
export const isRenewalPending = signal(false);

const sentPermissionKey = "toldPermission";
const retryFirstMs = 2_000;
const retryMaxMs = 5 * 60_000;

let store: LocalStore | null = null;

/** Keeps this phone's endpoint and its permission to notify up to date with the server: now, and when either may change. */
export async function openPhones(opened: LocalStore): Promise<void> {
  store = opened;
  storedEndpoint.value = (await opened.get<string>(ownEndpointKey)) ?? null;
  const checkIfVisible = () => {
    if (document.visibilityState !== "hidden") checkPhone();
  };
  addEventListener("online", checkIfVisible);
  addEventListener("focus", checkIfVisible);
  document.addEventListener("visibilitychange", checkIfVisible);
  const status = await navigator.permissions
    ?.query({ name: "notifications" })
    .catch((cause: unknown) => console.warn("The browser does not report its permission to notify.", cause));
  status?.addEventListener("change", checkPhone);
  await checkQueued();
}

let checking: Promise<void> | null = null;
let checkAgain = false;
let retryMs = retryFirstMs;
let retryTimer: ReturnType<typeof setTimeout> | undefined;

/** Something may have changed: this phone's endpoint, its permission to notify, or the connection. */
export function checkPhone(): void {
  retryMs = retryFirstMs;
  void checkQueued();
}

/** One at a time; a request during a check starts one more check after it. */
function checkQueued(): Promise<void> {
  if (checking !== null) {
    checkAgain = true;
    return checking;
  }
  checking = (async () => {
    try {
      do {
        checkAgain = false;
        await checkOnce().catch((cause: unknown) => console.warn("This phone's address could not be read.", cause));
      } while (checkAgain);
    } finally {
      checking = null;
    }
  })();
  return checking;
}

async function checkOnce(): Promise<void> {
  if (store === null) return;
  notificationPermission.value = browserSupport().permission;
  await updateOwnEndpoint();
  storedEndpoint.value = (await store.get<string>(ownEndpointKey)) ?? null; // the worker may have renewed it
  const isPermissionSent = await sendPermission(store);
  const sent = await renewEndpoint(store);
  isRenewalPending.value = sent === "pending" || sent === "signedOut";
  storedEndpoint.value = (await store.get<string>(ownEndpointKey)) ?? null;
  if ((sent === "done" || sent === "removed" || isPermissionSent) && signedIn.value === "yes") await loadPhones();
  clearTimeout(retryTimer);
  if (sent !== "pending" && isPermissionSent !== null) return;
  retryTimer = setTimeout(() => void checkQueued(), retryMs);
  retryMs = Math.min(retryMaxMs, retryMs * 2);
}

/** The browser may not report a changed endpoint, so the present one is compared with the one that the server knows. */
async function renewEndpoint(opened: LocalStore) {
  const remembered = storedEndpoint.value;
  if (remembered !== null && notificationPermission.value === "granted") {
    const subscription = (await ownSubscription()) ?? (await subscribeAgain(opened));
    ownEndpoint.value = subscription?.endpoint ?? null;
    const waits = await storedRenewal(opened);
    if (subscription === null || subscription.endpoint === remembered) {
      if (subscription !== null) await removeRenewal(opened);
    } else if (waits?.endpoint !== subscription.endpoint) {
      await storeRenewal(opened, { replaces: remembered, ...subscriptionRequest(subscription) });
    }
  }
  return sendRenewal(opened);
}

/** The browser lost the endpoint though notifications are on: with the permission it can get another one. */
async function subscribeAgain(opened: LocalStore): Promise<PushSubscription | null> {
  const key = phones.value?.publicKey ?? (await opened.get<string>(serverPublicKeyKey));
  const registration = await navigator.serviceWorker?.getRegistration();
  if (key === undefined || registration?.pushManager === undefined) return null;
  const options = { userVisibleOnly: true, applicationServerKey: fromBase64Url(key) };
  return registration.pushManager.subscribe(options).catch((cause: unknown) => {
    console.warn("The browser gave no new address.", cause);
    return null;
  });
}

/** @returns whether a change was sent to the server; null where that failed and must be tried again */
async function sendPermission(opened: LocalStore): Promise<boolean | null> {
  const endpoint = storedEndpoint.value;
  if (endpoint === null || notificationPermission.value === "none") return false;
  const allowed = notificationPermission.value === "granted";
  const known = (await opened.get<string>(sentPermissionKey)) ?? `${endpoint} true`;
  const current = `${endpoint} ${allowed}`;
  if (known === current || (allowed && ownEndpoint.value !== endpoint)) return false; // a renewal includes it
  const result = await api.setPhonePermission(endpoint, allowed);
  if (result.kind === "unreachable" || result.kind === "signedOut") return null;
  await opened.put(sentPermissionKey, current);
  return true;
}

export async function loadPhones(): Promise<ApiResult<PhonesView>> {
  const result = await api.phones();
  updateConnectionState(result);
  if (result.kind !== "ok") return result;
  const isFirst = phones.value === null;
  phones.value = result.value;
  await store?.put(serverPublicKeyKey, result.value.publicKey);
  await storeOwnEndpoint();
  if (isFirst) void checkQueued(); // with the server's key a lost endpoint can be replaced
  return result;
}

let earlyLoad: { readonly result: Promise<ApiResult<PhonesView>>; readonly changes: number } | null = null;

/** In parallel with the very first request for the feeders, so that the first page can show both at once. */
export function loadPhonesEarly(): Promise<ApiResult<PhonesView>> {
  earlyLoad = { result: loadPhones(), changes: phoneChangeCount.value };
  return earlyLoad.result;
}

/**
 * Uses the early request once: on a weak connection nothing is loaded twice. Where the phones have changed since, or may have,
 * they are loaded again.
 */
export async function loadPhonesForHome(): Promise<ApiResult<PhonesView>> {
  const taken = earlyLoad;
  earlyLoad = null;
  if (taken === null || taken.changes !== phoneChangeCount.value) return loadPhones();
  const result = await taken.result;
  return result.kind === "ok" ? result : loadPhones();
}

/** Only an endpoint that the server lists counts as this phone's own; any other replaces it. */
async function storeOwnEndpoint(): Promise<void> {
  const own = ownEndpoint.value;
  if (own === null || own === storedEndpoint.value) return;
  if (!phones.value?.phones.some(({ endpoint }) => endpoint === own)) return;
  storedEndpoint.value = own;
  await store?.put(ownEndpointKey, own);
}

/** Turned off by the person: nothing to warn of. */
export async function removeOwnEndpoint(): Promise<void> {
  storedEndpoint.value = null;
  isRenewalPending.value = false;
  await store?.remove(ownEndpointKey);
  if (store !== null) await removeRenewal(store);
}
