import * as text from "#text/reachability.ts";
import type { PhonesView, PhoneView } from "../../server/contract/api.ts";

export { lastDisplayText, testReceiptText } from "./phoneReceipts.ts";

/** Whether a keeper can be notified at all: no notification must not be taken for "all is well". */

export interface ReachabilityWarning {
  readonly kind: "noPhone" | "thisPhoneLost" | "thisPhoneBlocked" | "renewalPending" | "noneConfirmed";
  readonly text: string;
}

/** What this browser knows of itself. */
export interface OwnPhone {
  readonly endpoint: string | null; // null while notifications are off
  readonly storedEndpoint: string | null; // the one that the server last listed
  readonly isBlocked: boolean; // permission to notify was removed
  readonly isRenewalPending: boolean; // it has a new endpoint that the server has not got yet
}

/** It showed the last notification, or none was sent that it could have shown: a quiet week is no reason to warn. */
const isReachable = ({ reachability, lastDisplayedAt, lastAcceptedAt }: PhoneView) =>
  reachability.kind === "confirmed" ||
  (reachability.kind === "unconfirmed" &&
    lastDisplayedAt !== null &&
    (lastAcceptedAt === null || lastAcceptedAt <= lastDisplayedAt));

/**
 * What a keeper must know before relying on notifications, the worst first; null where at least one phone is reachable and
 * this one is not lost.
 */
export function reachabilityWarning({ phones, gone }: PhonesView, own: OwnPhone): ReachabilityWarning | null {
  const lost = lostWarning(phones, gone, own);
  if (lost !== null) return lost;
  if (phones.length === 0) return { kind: "noPhone", text: text.noPhoneText };
  if (phones.some(isReachable)) return null;
  const [only] = phones;
  if (phones.length === 1 && only !== undefined)
    return { kind: "noneConfirmed", text: text.onePhoneText(only.label, only.reachability.text) };
  return { kind: "noneConfirmed", text: text.noneConfirmedText };
}

/** Why this very phone gets no notifications; null where no reason is known, or they were never turned on. */
function lostWarning(
  phones: readonly PhoneView[],
  gone: PhonesView["gone"],
  { endpoint, storedEndpoint, isBlocked, isRenewalPending }: OwnPhone,
): ReachabilityWarning | null {
  const known = phones.find((each) => each.endpoint === storedEndpoint);
  const expired = gone.find((each) => each.endpoint === endpoint || each.endpoint === storedEndpoint);
  const label = known?.label ?? expired?.label;
  if (label === undefined) return null;
  if (isBlocked) return { kind: "thisPhoneBlocked", text: text.blockedText(label) };
  if (isRenewalPending) return { kind: "renewalPending", text: text.renewalPendingText(label) };
  if (expired) return { kind: "thisPhoneLost", text: text.addressExpiredText(label) };
  return endpoint === null ? { kind: "thisPhoneLost", text: text.registrationLostText(label) } : null;
}
