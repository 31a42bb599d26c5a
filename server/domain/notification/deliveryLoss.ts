import type { Instant } from "../instant.ts";
import type { Escalation, OutgoingNotification, Recipient, RecipientState } from "./escalation.ts";

/** Whether what was sent to a person can have reached them, and by what it can reach them from now on. */

/** The end of the last delivery of a notification to one person. */
export interface DeliveryLoss {
  readonly person: string;
  readonly channel: OutgoingNotification["channel"];
  /** When the newest notification of this escalation was written that they have, or may still get, by the same channel; null: none. */
  readonly newestSentAt: Instant | null;
}

/** Every phone refused the last push for good or is gone, or the mail server refused the e-mail: it counts as not sent. */
export function recordLoss(
  escalation: Escalation,
  { person, channel, newestSentAt }: DeliveryLoss,
  at: Instant,
): Escalation {
  if (escalation.endedAt !== null || escalation.acknowledgedBy !== null) return escalation;
  const state = escalation.recipientStates.find((one) => one.person === person);
  const sentAt = channel === "push" ? state?.pushedAt : state?.emailedAt;
  if (state === undefined || sentAt === undefined || sentAt === null) return escalation;
  if (newestSentAt !== null && newestSentAt >= sentAt) return escalation;
  const lost: RecipientState = channel === "push" ? { ...state, pushLostAt: at } : { ...state, emailLostAt: at };
  return { ...escalation, recipientStates: escalation.recipientStates.map((one) => (one === state ? lost : one)) };
}

export const isPushLost = ({ pushLostAt }: RecipientState): boolean => (pushLostAt ?? null) !== null;
const isEmailLost = ({ emailLostAt }: RecipientState): boolean => (emailLostAt ?? null) !== null;

/** All that was sent to them is known to have reached nothing. */
export function isUndelivered({ renewedAt }: Pick<Escalation, "renewedAt">, state: RecipientState): boolean {
  if (!isPushLost(state) && !isEmailLost(state)) return false;
  const mayHavePush = state.pushedAt !== null && !isPushLost(state);
  const mayHaveEmail = state.emailedAt !== null && !isEmailLost(state);
  return !mayHavePush && !mayHaveEmail && !isAtOrAfter(state.displayedAt, renewedAt);
}

/** A phone was added, renewed or allowed again since the last push, and no phone of theirs has displayed this alarm. */
export function hasNewPhone(
  { renewedAt }: Escalation,
  person: Recipient,
  state: RecipientState,
  now: Instant,
): boolean {
  const since = person.phonesSince ?? null;
  // A time in the future comes from a clock that was set back: it must not notify again at each check.
  if (person.phoneCount === 0 || since === null || since > now || isAtOrAfter(state.displayedAt, renewedAt))
    return false;
  return state.pushedAt === null || since > state.pushedAt;
}

/** Their address is newer than the e-mail that was sent. */
export function hasNewAddress({ emailSince = null }: Recipient, { emailedAt }: RecipientState, now: Instant): boolean {
  return emailedAt !== null && emailSince !== null && emailSince > emailedAt && emailSince <= now;
}

export const isAtOrAfter = (at: Instant | null, start: Instant): boolean => at !== null && at >= start;
