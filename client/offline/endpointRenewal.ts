import type { LocalStore } from "./localStore.ts";

/** What a phone keeps of its own endpoint, for the page and for the worker beside it, until the server has it. */
export interface EndpointRenewal {
  /** The endpoint that the server knows this phone by. */
  readonly replaces: string;
  readonly endpoint: string;
  readonly keys: { readonly p256dh: string; readonly auth: string };
}

/** By which endpoint the server was last known to list this phone. */
export const ownEndpointKey = "ownPhone";
/** The server's public key, so that a new endpoint can be asked for while the server can't be reached. */
export const serverPublicKeyKey = "serverKey";
const renewalKey = "renewal";

export const storedRenewal = (cupboard: LocalStore) => cupboard.get<EndpointRenewal>(renewalKey);

/** Keeps the newest endpoint; what it replaces is what the server still knows, however often it was renewed meanwhile. */
export async function storeRenewal(cupboard: LocalStore, renewal: EndpointRenewal): Promise<void> {
  const before = await storedRenewal(cupboard);
  await cupboard.put(renewalKey, { ...renewal, replaces: before?.replaces ?? renewal.replaces });
}

export const removeRenewal = (cupboard: LocalStore) => cupboard.remove(renewalKey);

/**
 * `none`: nothing waited. `removed`: a person has removed this phone, so it stays off. `dead`: the new endpoint is known to be
 * gone, and the phone must be switched on again.
 */
export type RenewalOutcome = "none" | "done" | "pending" | "signedOut" | "removed" | "expired";

/**
 * Hands a kept renewal in. Where the server can't be reached it stays kept.
 * @param put resolves with the answer's status; rejects where there was none
 */
export async function sendRenewal(
  cupboard: LocalStore,
  put: (renewal: EndpointRenewal) => Promise<number> = putRenewal,
): Promise<RenewalOutcome> {
  const renewal = await storedRenewal(cupboard);
  if (renewal === undefined) return "none";
  let status: number;
  try {
    status = await put(renewal);
  } catch {
    return "pending"; // no connection: ordinary, and it stays kept
  }
  if (status === 401) return "signedOut";
  if (status >= 500 || status === 408 || status === 429) return "pending";
  if ((await storedRenewal(cupboard))?.endpoint !== renewal.endpoint) return "pending"; // renewed once more meanwhile
  await removeRenewal(cupboard);
  if (status < 300) {
    await cupboard.put(ownEndpointKey, renewal.endpoint);
    return "done";
  }
  if (status !== 404) return "expired";
  await cupboard.remove(ownEndpointKey);
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
