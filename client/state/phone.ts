import { signal } from "@preact/signals";
import type { PhonesView } from "../../server/contract/api.ts";
import { type Answer, api } from "../reach/api.ts";

/** Whether this browser can be woken by a push, and if not, what stands in the way. */
export type PushAbility = "ready" | "insecure" | "homeScreenFirst" | "denied" | "unsupported";

export interface Browser {
  readonly secure: boolean;
  readonly hasPush: boolean;
  readonly permission: "default" | "granted" | "denied" | "none";
  readonly appleTouch: boolean; // iPhone and iPad give push only to pages put on the home screen
  readonly standalone: boolean;
}

export function pushAbility(browser: Browser): PushAbility {
  if (!browser.secure) return "insecure";
  if (browser.appleTouch && !browser.standalone) return "homeScreenFirst";
  if (!browser.hasPush || browser.permission === "none") return "unsupported";
  return browser.permission === "denied" ? "denied" : "ready";
}

export function thisBrowser(): Browser {
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

export async function findOwnEndpoint(): Promise<void> {
  if (!("serviceWorker" in navigator)) return;
  const registration = await navigator.serviceWorker.getRegistration();
  const subscription = await registration?.pushManager?.getSubscription();
  ownEndpoint.value = subscription?.endpoint ?? null;
}

export type SwitchedOn =
  | Answer<PhonesView>
  | { readonly kind: "notAllowed" }
  | { readonly kind: "failed"; readonly words: string };

/** Must be called from the keeper's own tap: browsers ask for leave only then. */
export async function switchOn(publicKey: string, label: string): Promise<SwitchedOn> {
  const permission = await Notification.requestPermission();
  if (permission !== "granted") return { kind: "notAllowed" };
  const registration = await navigator.serviceWorker.ready;
  const old = await registration.pushManager.getSubscription();
  let subscription: PushSubscription;
  try {
    // One made for another server key can't be used with this one.
    if (old !== null && !sameKey(old.options.applicationServerKey, publicKey)) await old.unsubscribe();
    subscription = await registration.pushManager.subscribe({
      userVisibleOnly: true,
      applicationServerKey: fromBase64Url(publicKey),
    });
  } catch (cause) {
    return { kind: "failed", words: cause instanceof Error ? cause.message : String(cause) };
  }
  const { endpoint, keys } = subscription.toJSON();
  const answer = await api.addPhone({
    endpoint: endpoint ?? subscription.endpoint,
    keys: { p256dh: keys?.p256dh ?? "", auth: keys?.auth ?? "" },
    label,
    replaces: old !== null && old.endpoint !== subscription.endpoint ? old.endpoint : null,
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

function sameKey(key: ArrayBuffer | null, publicKey: string): boolean {
  if (key === null) return false;
  const wanted = fromBase64Url(publicKey);
  const had = new Uint8Array(key);
  return had.length === wanted.length && had.every((octet, index) => octet === wanted[index]);
}
