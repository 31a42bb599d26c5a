import { signal } from "@preact/signals";
import type { PhonesView } from "../../server/contract/api.ts";
import type { Cupboard } from "../kept/cupboard.ts";
import {
  dropRenewal,
  keepRenewal,
  keptRenewal,
  ownKey,
  sendRenewal,
  serverKeyKey,
  subscriptionOf,
} from "../kept/renewal.ts";
import { type Answer, api } from "../reach/api.ts";
import { noteLine, phoneChanges, signedIn } from "./home.ts";
import { findOwnEndpoint, fromBase64Url, ownEndpoint, ownSubscription, permission, thisBrowser } from "./phone.ts";

/** The keeper's phones as the server knows them; null until it was asked. */
export const phones = signal<PhonesView | null>(null);

/** By which address the server last listed this very browser; null where it never did. */
export const rememberedEndpoint = signal<string | null>(null);

/** This phone has a new address that the server has not got yet. */
export const renewalWaits = signal(false);

const toldPermissionKey = "toldPermission";
const retryFirstMs = 2_000;
const retryMaxMs = 5 * 60_000;

let cupboard: Cupboard | null = null;

/** Looks after this phone's own address and leave to notify: now, and whenever either may have changed. */
export async function openPhones(kept: Cupboard): Promise<void> {
  cupboard = kept;
  rememberedEndpoint.value = (await kept.get<string>(ownKey)) ?? null;
  const look = () => {
    if (document.visibilityState !== "hidden") lookAtPhone();
  };
  addEventListener("online", look);
  addEventListener("focus", look);
  document.addEventListener("visibilitychange", look);
  const status = await navigator.permissions
    ?.query({ name: "notifications" })
    .catch((cause: unknown) => console.warn("The browser does not tell of its leave to notify.", cause));
  status?.addEventListener("change", lookAtPhone);
  await attend();
}

let attending: Promise<void> | null = null;
let again = false;
let retryMs = retryFirstMs;
let retry: ReturnType<typeof setTimeout> | undefined;

/** Something may have changed: this phone's address, its leave to notify, or the connection. */
export function lookAtPhone(): void {
  retryMs = retryFirstMs;
  void attend();
}

/** One at a time; asked for once more while it is under way, it looks once more. */
function attend(): Promise<void> {
  if (attending !== null) {
    again = true;
    return attending;
  }
  attending = (async () => {
    try {
      do {
        again = false;
        await attendOnce().catch((cause: unknown) => console.warn("This phone's address could not be read.", cause));
      } while (again);
    } finally {
      attending = null;
    }
  })();
  return attending;
}

async function attendOnce(): Promise<void> {
  if (cupboard === null) return;
  permission.value = thisBrowser().permission;
  await findOwnEndpoint();
  rememberedEndpoint.value = (await cupboard.get<string>(ownKey)) ?? null; // the worker may have renewed it
  const told = await tellPermission(cupboard);
  const sent = await renew(cupboard);
  renewalWaits.value = sent === "waits" || sent === "signedOut";
  rememberedEndpoint.value = (await cupboard.get<string>(ownKey)) ?? null;
  if ((sent === "done" || sent === "removed" || told) && signedIn.value === "yes") await loadPhones();
  clearTimeout(retry);
  if (sent !== "waits" && told !== null) return;
  retry = setTimeout(() => void attend(), retryMs);
  retryMs = Math.min(retryMaxMs, retryMs * 2);
}

/** The browser may never have said that the address changed: the present one is compared with the one that the server knows. */
async function renew(kept: Cupboard) {
  const remembered = rememberedEndpoint.value;
  if (remembered !== null && permission.value === "granted") {
    const subscription = (await ownSubscription()) ?? (await subscribedAnew(kept));
    ownEndpoint.value = subscription?.endpoint ?? null;
    const waits = await keptRenewal(kept);
    if (subscription === null || subscription.endpoint === remembered) {
      if (subscription !== null) await dropRenewal(kept);
    } else if (waits?.endpoint !== subscription.endpoint) {
      await keepRenewal(kept, { replaces: remembered, ...subscriptionOf(subscription) });
    }
  }
  return sendRenewal(kept);
}

/** The browser has forgotten the address of a phone that was switched on: leave to notify is there, so it asks for another. */
async function subscribedAnew(kept: Cupboard): Promise<PushSubscription | null> {
  const key = phones.value?.publicKey ?? (await kept.get<string>(serverKeyKey));
  const registration = await navigator.serviceWorker?.getRegistration();
  if (key === undefined || registration?.pushManager === undefined) return null;
  const options = { userVisibleOnly: true, applicationServerKey: fromBase64Url(key) };
  return registration.pushManager.subscribe(options).catch((cause: unknown) => {
    console.warn("The browser gave no new address.", cause);
    return null;
  });
}

/** @returns whether the server was told something new; null where it could not be told and should be again */
async function tellPermission(kept: Cupboard): Promise<boolean | null> {
  const endpoint = rememberedEndpoint.value;
  if (endpoint === null || permission.value === "none") return false;
  const allowed = permission.value === "granted";
  const known = (await kept.get<string>(toldPermissionKey)) ?? `${endpoint} true`;
  const said = `${endpoint} ${allowed}`;
  if (known === said || (allowed && ownEndpoint.value !== endpoint)) return false; // a renewal says it by itself
  const answer = await api.allowPhone(endpoint, allowed);
  if (answer.kind === "unreachable" || answer.kind === "signedOut") return null;
  await kept.put(toldPermissionKey, said);
  return true;
}

export async function loadPhones(): Promise<Answer<PhonesView>> {
  const answer = await api.phones();
  noteLine(answer);
  if (answer.kind !== "ok") return answer;
  const isFirst = phones.value === null;
  phones.value = answer.value;
  await cupboard?.put(serverKeyKey, answer.value.publicKey);
  await rememberOwn();
  if (isFirst) void attend(); // by the server's key a forgotten address can be asked for anew
  return answer;
}

let early: { readonly answer: Promise<Answer<PhonesView>>; readonly changes: number } | null = null;

/** Beside the very first request for the feeders, so that what a first page says of the phones comes with them. */
export function loadPhonesEarly(): Promise<Answer<PhonesView>> {
  early = { answer: loadPhones(), changes: phoneChanges.value };
  return early.answer;
}

/**
 * What was asked for early serves the first page that wants it: on a weak line nothing is fetched twice. Where the phones have
 * changed since, or may have, they are asked for anew.
 */
export async function loadPhonesForHome(): Promise<Answer<PhonesView>> {
  const taken = early;
  early = null;
  if (taken === null || taken.changes !== phoneChanges.value) return loadPhones();
  const answer = await taken.answer;
  return answer.kind === "ok" ? answer : loadPhones();
}

/** Only an address that the server lists counts as this phone's: whatever else the browser has replaces that one. */
async function rememberOwn(): Promise<void> {
  const own = ownEndpoint.value;
  if (own === null || own === rememberedEndpoint.value) return;
  if (!phones.value?.phones.some(({ endpoint }) => endpoint === own)) return;
  rememberedEndpoint.value = own;
  await cupboard?.put(ownKey, own);
}

/** Switched off by hand: that is no loss to warn of. */
export async function forgetOwn(): Promise<void> {
  rememberedEndpoint.value = null;
  renewalWaits.value = false;
  await cupboard?.remove(ownKey);
  if (cupboard !== null) await dropRenewal(cupboard);
}
