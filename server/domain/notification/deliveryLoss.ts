import type { Instant } from "../instant.ts";
import type { Escalation, OutgoingNotification, Recipient, RecipientState } from "./escalation.ts";

/** Whether what was sent to a person can have reached them, and by what it can reach them from now on. */

/** The end of the last delivery of a notice to one person. */
export interface DeliveryLoss {
  readonly person: string;
  readonly channel: OutgoingNotification["channel"];
  /** When the newest notice of this call was written that they have by the same channel, or may yet get; null: there is none. */
  readonly activeFrom: Instant | null;
}

/** Every phone refused the last push for good or is gone, or the mail server refused the letter: it counts as not told. */
export function recordLoss(call: Escalation, { person, channel, activeFrom }: DeliveryLoss, at: Instant): Escalation {
  if (call.endedAt !== null || call.acknowledgedBy !== null) return call;
  const told = call.recipientStates.find((one) => one.person === person);
  const sentAt = channel === "push" ? told?.pushedAt : told?.emailedAt;
  if (told === undefined || sentAt === undefined || sentAt === null) return call;
  if (activeFrom !== null && activeFrom >= sentAt) return call;
  const lost: RecipientState = channel === "push" ? { ...told, pushLostAt: at } : { ...told, emailLostAt: at };
  return { ...call, recipientStates: call.recipientStates.map((one) => (one === told ? lost : one)) };
}

export const isPushLost = ({ pushLostAt }: RecipientState): boolean => (pushLostAt ?? null) !== null;
const isEmailLost = ({ emailLostAt }: RecipientState): boolean => (emailLostAt ?? null) !== null;

/** All that was sent to them is known to have reached nothing. */
export function isUndelivered({ renewedAt }: Pick<Escalation, "renewedAt">, told: RecipientState): boolean {
  if (!isPushLost(told) && !isEmailLost(told)) return false;
  const mayHavePush = told.pushedAt !== null && !isPushLost(told);
  const mayHaveMail = told.emailedAt !== null && !isEmailLost(told);
  return !mayHavePush && !mayHaveMail && !isSince(told.displayedAt, renewedAt);
}

/** A phone was added, renewed or allowed again since the last push, and no phone of theirs has shown this alarm. */
export function hasNewPhone({ renewedAt }: Escalation, person: Recipient, told: RecipientState, now: Instant): boolean {
  const since = person.phonesSince ?? null;
  // One from the future comes from a clock that was set back: it must not ring again at each look.
  if (person.phoneCount === 0 || since === null || since > now || isSince(told.displayedAt, renewedAt)) return false;
  return told.pushedAt === null || since > told.pushedAt;
}

/** Their address is newer than the letter that was sent. */
export function hasNewAddress(
  { emailSince: mailSince = null }: Recipient,
  { emailedAt }: RecipientState,
  now: Instant,
): boolean {
  return emailedAt !== null && mailSince !== null && mailSince > emailedAt && mailSince <= now;
}

export const isSince = (at: Instant | null, start: Instant): boolean => at !== null && at >= start;
