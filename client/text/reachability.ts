import type { PhonesView, PhoneView } from "../../server/contract/api.ts";
import { momentText } from "./clock.ts";

/** Whether a keeper can be told at all, in words: silence must not be taken for "all is well". */

/** "Shown today at 07:31." The phone's own word counts; a push service only ever says that it took a notice. */
export function lastDisplayText(lastShownAt: string | null, now: number, zone: string): string {
  if (lastShownAt === null) return "Has not shown a notice yet.";
  const when = momentText(lastShownAt, now, zone);
  return `Shown ${/^\d/.test(when) ? `today at ${when}` : when}.`;
}

export interface ReachabilityWarning {
  readonly kind: "noPhone" | "thisPhoneLost" | "thisPhoneBlocked" | "renewalPending" | "noneConfirmed";
  readonly text: string;
}

/** What this browser knows of itself. */
export interface OwnPhone {
  readonly endpoint: string | null; // null while it can't be woken
  readonly storedEndpoint: string | null; // by which it could be woken before
  readonly isBlocked: boolean; // leave to notify was withdrawn
  readonly isRenewalPending: boolean; // it has a new address that the server has not got yet
}

/** It has proved itself, or nothing was sent by which it could have: a quiet week is no reason to warn. */
const isReachable = ({ reachability, lastDisplayedAt, lastAcceptedAt }: PhoneView) =>
  reachability.kind === "proved" ||
  (reachability.kind === "unproved" &&
    lastDisplayedAt !== null &&
    (lastAcceptedAt === null || lastAcceptedAt <= lastDisplayedAt));

/**
 * What a keeper must know before relying on being told; null where at least one phone has proved that it can be reached and
 * this one isn't lost. The gravest first.
 */
export function reachabilityWarning({ phones, gone }: PhonesView, own: OwnPhone): ReachabilityWarning | null {
  const lost = lostWarning(phones, gone, own);
  if (lost !== null) return lost;
  if (phones.length === 0) {
    return { kind: "noPhone", text: "No phone of yours is woken when something needs you." };
  }
  if (phones.some(isReachable)) return null;
  const [only] = phones;
  if (phones.length === 1 && only !== undefined)
    return { kind: "noneConfirmed", text: `${only.label}: ${only.reachability.text}` };
  return { kind: "noneConfirmed", text: "None of your phones has proved lately that it can be reached." };
}

/** What keeps this very phone from being woken; null where nothing is known to, or it was never switched on. */
function lostWarning(
  phones: readonly PhoneView[],
  gone: PhonesView["gone"],
  { endpoint: own, storedEndpoint, isBlocked, isRenewalPending }: OwnPhone,
): ReachabilityWarning | null {
  const known = phones.find(({ endpoint }) => endpoint === storedEndpoint);
  const isGone = gone.find(({ endpoint }) => endpoint === own || endpoint === storedEndpoint);
  const label = known?.label ?? isGone?.label;
  if (label === undefined) return null;
  const begin = `This phone (${label}) can't be woken any more`;
  if (isBlocked) return { kind: "thisPhoneBlocked", text: `${begin}: its leave to notify you was withdrawn.` };
  if (isRenewalPending) {
    return {
      kind: "renewalPending",
      text: `${begin} by its old address, and the server does not know its new one yet.`,
    };
  }
  if (isGone) return { kind: "thisPhoneLost", text: `${begin}: its push service has let its address go.` };
  if (own === null) return { kind: "thisPhoneLost", text: `${begin}: its browser has forgotten that it may be woken.` };
  return null;
}

/** The end of a test for one phone, as far as it has come. */
export function testReceiptText(proof: "pending" | "displayed" | "missing" | "none"): string {
  switch (proof) {
    case "pending":
      return "Waiting for the phone's own word…";
    case "displayed":
      return "Shown: the phone says that it stood on its screen.";
    case "missing":
      return "Not shown within half a minute. Is the phone off, without a connection, or does it keep notices back?";
    case "none":
      return "";
  }
}
