import type { LocalStore } from "./localStore.ts";

/** This phone's new endpoint, stored for the page and the service worker until the server has it. */
export interface EndpointRenewal {
  /** The endpoint that the server knows this phone by. */
  readonly replaces: string;
  readonly endpoint: string;
  readonly keys: { readonly p256dh: string; readonly auth: string };
}

/** The endpoint by which the server last listed this phone. */
export const ownEndpointKey = "ownPhone";
/** The server's public key, so that the phone can get a new endpoint while the server can't be reached. */
export const serverPublicKeyKey = "serverKey";
const renewalKey = "renewal";

export const storedRenewal = (store: LocalStore) => store.get<EndpointRenewal>(renewalKey);

/** Stores the newest endpoint; it replaces the one that the server still knows, however often it was renewed since. */
export async function storeRenewal(store: LocalStore, renewal: EndpointRenewal): Promise<void> {
  const before = await storedRenewal(store);
  await store.put(renewalKey, { ...renewal, replaces: before?.replaces ?? renewal.replaces });
}

export const removeRenewal = (store: LocalStore) => store.remove(renewalKey);

/**
 * `none`: there was none. `removed`: a person has removed this phone, so notifications stay off. `expired`: the new endpoint is
 * not valid, and notifications must be turned on again.
 */
export type RenewalOutcome = "none" | "done" | "pending" | "signedOut" | "removed" | "expired";

/**
 * Sends a stored renewal. Where the server can't be reached it stays stored.
 * @param put resolves with the status of the response; rejects where there was none
 */
export async function sendRenewal(
  store: LocalStore,
  put: (renewal: EndpointRenewal) => Promise<number> = putRenewal,
): Promise<RenewalOutcome> {
  const renewal = await storedRenewal(store);
  if (renewal === undefined) return "none";
  let status: number;
  try {
    status = await put(renewal);
  } catch {
    return "pending"; // no connection: usual, and it stays stored
  }
  if (status === 401) return "signedOut";
  if (status >= 500 || status === 408 || status === 429) return "pending";
  if ((await storedRenewal(store))?.endpoint !== renewal.endpoint) return "pending"; // renewed again since
  await removeRenewal(store);
  if (status < 300) {
    await store.put(ownEndpointKey, renewal.endpoint);
    return "done";
  }
  if (status !== 404) return "expired";
  await store.remove(ownEndpointKey);
  return "removed";
}

async function putRenewal(renewal: EndpointRenewal): Promise<number> {
  const response = await fetch("/api/v1/phones", {
    method: "PUT",
    keepalive: true,
    credentials: "same-origin",
    cache: "no-store",
    signal: AbortSignal.timeout(15_000),
    headers: { "content-type": "application/json", "x-pieward": "1" },
    body: JSON.stringify(renewal),
  });
  return response.status;
}

/** Of a subscription, as the server wants it. */
export function subscriptionRequest(subscription: PushSubscription): Pick<EndpointRenewal, "endpoint" | "keys"> {
  const { keys } = subscription.toJSON();
  return {
    endpoint: subscription.endpoint,
    keys: { p256dh: keys?.p256dh ?? "", auth: keys?.auth ?? "" },
  };
}
