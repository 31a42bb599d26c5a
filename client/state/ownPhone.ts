import { signal } from "@preact/signals";
import type { PhonesView } from "../../server/contract/api.ts";
import { type ApiResult, api } from "../api/api.ts";
import { subscriptionRequest } from "../offline/endpointRenewal.ts";

/** Whether this browser can be woken by a push, and if not, what stands in the way. */
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

/** This phone's own endpoint once it is switched on; null while it is not. */
export const ownEndpoint = signal<string | null>(null);

export async function updateOwnEndpoint(): Promise<void> {
  ownEndpoint.value = (await ownSubscription())?.endpoint ?? null;
}

/** Leave to notify, as the browser last said. */
export const notificationPermission = signal<BrowserSupport["permission"]>("none");

export type SwitchOnOutcome =
  | ApiResult<PhonesView>
  | { readonly kind: "notAllowed" }
  /** The browser hands out an address that is known to be dead, also after it gave it back. */
  | { readonly kind: "sameAddress" }
  | { readonly kind: "failed"; readonly text: string };

/**
 * Must be called from the keeper's own tap: browsers ask for leave only then.
 * @param replaces by which endpoint the server knew this browser before; null: by none
 */
export async function switchOn(view: PhonesView, label: string, replaces: string | null): Promise<SwitchOnOutcome> {
  const asked = await Notification.requestPermission();
  notificationPermission.value = asked;
  if (asked !== "granted") return { kind: "notAllowed" };
  const registration = await navigator.serviceWorker.ready;
  const old = await registration.pushManager.getSubscription();
  // subscribe() returns the subscription that is there, alive or dead. One that the server doesn't list, or that was made for
  // another server key, is given back first (Push API, section 5: subscribe).
  const isListed = view.phones.some(({ endpoint, blockedAt }) => endpoint === old?.endpoint && blockedAt === null);
  const keeps = old !== null && isListed && sameKey(old.options.applicationServerKey, view.publicKey);
  let subscription: PushSubscription;
  try {
    if (old !== null && !keeps && !(await old.unsubscribe())) {
      return { kind: "failed", text: "it did not give its old address back" };
    }
    subscription = await registration.pushManager.subscribe({
      userVisibleOnly: true,
      applicationServerKey: fromBase64Url(view.publicKey),
    });
  } catch (cause) {
    return { kind: "failed", text: cause instanceof Error ? cause.message : String(cause) };
  }
  if (!keeps && old !== null && subscription.endpoint === old.endpoint) return { kind: "sameAddress" };
  const before = replaces ?? old?.endpoint ?? null;
  const answer = await api.addPhone({
    ...subscriptionRequest(subscription),
    label,
    replaces: before === subscription.endpoint ? null : before,
  });
  if (answer.kind === "ok") ownEndpoint.value = subscription.endpoint;
  return answer;
}

export async function switchOff(): Promise<void> {
  const registration = await navigator.serviceWorker.getRegistration();
  const subscription = await registration?.pushManager.getSubscription();
  await subscription?.unsubscribe();
  ownEndpoint.value = null;
}

/** A name the keeper will know it by; can be overwritten. */
export function guessLabel(userAgent: string): string {
  if (/iPhone/.test(userAgent)) return "iPhone";
  if (/iPad/.test(userAgent)) return "iPad";
  if (/Android/.test(userAgent)) return /Mobile/.test(userAgent) ? "Android phone" : "Android tablet";
  if (/Windows/.test(userAgent)) return "Windows computer";
  if (/Macintosh/.test(userAgent)) return "Mac";
  return "This device";
}

export function fromBase64Url(text: string): Uint8Array<ArrayBuffer> {
  const plain = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  const octets = new Uint8Array(plain.length);
  for (let index = 0; index < plain.length; index++) octets[index] = plain.charCodeAt(index);
  return octets;
}

/** The browser's own subscription, of which the server may not know. */
export async function ownSubscription(): Promise<PushSubscription | null> {
  if (!("serviceWorker" in navigator)) return null;
  const registration = await navigator.serviceWorker.getRegistration();
  return (await registration?.pushManager?.getSubscription()) ?? null;
}

function sameKey(key: ArrayBuffer | null, publicKey: string): boolean {
  if (key === null) return false;
  const wanted = fromBase64Url(publicKey);
  const had = new Uint8Array(key);
  return had.length === wanted.length && had.every((octet, index) => octet === wanted[index]);
}
