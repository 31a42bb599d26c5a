import { signal } from "@preact/signals";
import * as text from "#text/ownPhone.ts";
import type { PhonesView } from "../../server/contract/api.ts";
import { type ApiResult, api } from "../api/api.ts";
import { subscriptionRequest } from "../offline/endpointRenewal.ts";

/** Whether this browser can receive push notifications, and if not, why. */
export type PushAbility = "ready" | "insecure" | "homeScreenFirst" | "denied" | "unsupported";

export interface BrowserSupport {
  readonly secure: boolean;
  readonly hasPush: boolean;
  readonly permission: "default" | "granted" | "denied" | "none";
  readonly appleTouch: boolean; // iPhone and iPad give push only to pages put on the home screen
  readonly standalone: boolean;
}

export function pushAbility(browser: BrowserSupport): PushAbility {
  if (!browser.secure) return "insecure";
  if (browser.appleTouch && !browser.standalone) return "homeScreenFirst";
  if (!browser.hasPush || browser.permission === "none") return "unsupported";
  return browser.permission === "denied" ? "denied" : "ready";
}

export function browserSupport(): BrowserSupport {
  const touches = navigator.maxTouchPoints > 1;
  return {
    secure: isSecureContext,
    hasPush: "serviceWorker" in navigator && "PushManager" in window,
    permission: "Notification" in window ? Notification.permission : "none",
    appleTouch: /iPhone|iPad|iPod/.test(navigator.userAgent) || (/Macintosh/.test(navigator.userAgent) && touches),
    standalone: matchMedia("(display-mode: standalone)").matches,
  };
}

/** This phone's own endpoint while notifications are on; null while they are off. */
export const ownEndpoint = signal<string | null>(null);

export async function updateOwnEndpoint(): Promise<void> {
  ownEndpoint.value = (await ownSubscription())?.endpoint ?? null;
}

/** The permission to notify, as the browser last reported it. */
export const notificationPermission = signal<BrowserSupport["permission"]>("none");

export type SwitchOnOutcome =
  | ApiResult<PhonesView>
  | { readonly kind: "notAllowed" }
  /** The browser gives an endpoint that is known to be expired, also after it was unsubscribed. */
  | { readonly kind: "sameAddress" }
  | { readonly kind: "failed"; readonly text: string };

/**
 * Must be called from a tap of the person: browsers ask for permission only then.
 * @param replaces the endpoint by which the server knew this browser before; null: none
 */
export async function switchOn(view: PhonesView, label: string, replaces: string | null): Promise<SwitchOnOutcome> {
  const permission = await Notification.requestPermission();
  notificationPermission.value = permission;
  if (permission !== "granted") return { kind: "notAllowed" };
  const { pushManager } = await navigator.serviceWorker.ready;
  const old = await pushManager.getSubscription();
  const expired = old === null || isUsable(old, view) ? null : old;
  const subscription = await subscribe(pushManager, view.publicKey, expired);
  if ("kind" in subscription) return subscription;
  return addPhone(subscription, label, replaces ?? old?.endpoint ?? null);
}

/** @param expired the browser's subscription that can't be used any more; null: none */
async function subscribe(
  pushManager: PushManager,
  publicKey: string,
  expired: PushSubscription | null,
): Promise<PushSubscription | Extract<SwitchOnOutcome, { kind: "sameAddress" | "failed" }>> {
  try {
    if (expired !== null && !(await expired.unsubscribe())) return { kind: "failed", text: text.oldAddressKeptText };
    const applicationServerKey = fromBase64Url(publicKey);
    const subscription = await pushManager.subscribe({ userVisibleOnly: true, applicationServerKey });
    return subscription.endpoint === expired?.endpoint ? { kind: "sameAddress" } : subscription;
  } catch (cause) {
    return { kind: "failed", text: cause instanceof Error ? cause.message : String(cause) };
  }
}

/**
 * subscribe() returns the existing subscription, valid or expired. One that the server doesn't list, or that was made for
 * another server key, is unsubscribed first (Push API, section 5: subscribe).
 */
const isUsable = (old: PushSubscription, { phones, publicKey }: PhonesView) =>
  phones.some(({ endpoint, blockedAt }) => endpoint === old.endpoint && blockedAt === null) &&
  sameKey(old.options.applicationServerKey, publicKey);

async function addPhone(
  subscription: PushSubscription,
  label: string,
  before: string | null,
): Promise<ApiResult<PhonesView>> {
  const { endpoint } = subscription;
  const added = await api.addPhone({
    ...subscriptionRequest(subscription),
    label,
    replaces: before === endpoint ? null : before,
  });
  if (added.kind === "ok") ownEndpoint.value = endpoint;
  return added;
}

export async function switchOff(): Promise<void> {
  const registration = await navigator.serviceWorker.getRegistration();
  const subscription = await registration?.pushManager.getSubscription();
  await subscription?.unsubscribe();
  ownEndpoint.value = null;
}

/** A name that the person recognizes; it can be changed. */
export function guessLabel(userAgent: string): string {
  if (/iPhone/.test(userAgent)) return "iPhone";
  if (/iPad/.test(userAgent)) return "iPad";
  if (/Android/.test(userAgent)) return /Mobile/.test(userAgent) ? text.androidPhoneName : text.androidTabletName;
  if (/Windows/.test(userAgent)) return text.windowsName;
  if (/Macintosh/.test(userAgent)) return text.macName;
  return text.thisDeviceName;
}

export function fromBase64Url(text: string): Uint8Array<ArrayBuffer> {
  const plain = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  const octets = new Uint8Array(plain.length);
  for (let index = 0; index < plain.length; index++) octets[index] = plain.charCodeAt(index);
  return octets;
}

/** The browser's own subscription, which the server may not know. */
export async function ownSubscription(): Promise<PushSubscription | null> {
  if (!("serviceWorker" in navigator)) return null;
  const registration = await navigator.serviceWorker.getRegistration();
  return (await registration?.pushManager?.getSubscription()) ?? null;
}

function sameKey(key: ArrayBuffer | null, publicKey: string): boolean {
  if (key === null) return false;
  const wanted = fromBase64Url(publicKey);
  const actual = new Uint8Array(key);
  return actual.length === wanted.length && actual.every((octet, index) => octet === wanted[index]);
}
