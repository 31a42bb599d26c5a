import { after, earlier, type Instant, later } from "../instant.ts";
import { hasNewAddress, hasNewPhone, isAtOrAfter, isPushLost, isUndelivered } from "./deliveryLoss.ts";
import type {
  Escalation,
  EscalationStep,
  OutgoingNotification,
  Recipient,
  RecipientState,
  Recipients,
} from "./escalation.ts";
import {
  displayExpectedWithin,
  forgetAfterEnd,
  isEmailReminder,
  reminderGap,
  unreachableCheckEvery,
} from "./intervals.ts";
import { alarmContent, closingContent, notificationTo } from "./notificationContent.ts";
import { notifiableFrom } from "./quietHours.ts";

/**
 * An escalation as time passes: it reaches the next level, sends e-mail where no phone shows it, reminds, and is removed a while
 * after its end.
 *
 * What is due follows from times in the escalation's own state and is stored as done: a second check at one moment notifies nobody
 * twice, and a server that was down sends one notification to each person, not all that it missed.
 */
export function advanceEscalation(stored: Escalation, recipients: Recipients, now: Instant): EscalationStep {
  const escalation = withCurrentRecipients(stored, recipients);
  if (escalation.endedAt !== null || escalation.acknowledgedBy !== null)
    return advanceAnswered(escalation, recipients, now);
  if (escalation.holdUntil !== null && now < escalation.holdUntil)
    return { escalation, notifications: [], nextAt: escalation.holdUntil };

  let next: Escalation = { ...escalation, ...levelNow(escalation, recipients, now), holdUntil: null };
  const notifications: OutgoingNotification[] = [];
  // All texts are made before anybody counts as notified, so that people of one level get the same text.
  const atLevel = next;
  for (const person of inEscalationOrder(recipients)) {
    const step = notifyIfDue(atLevel, person, recipients.zone, now);
    if (step === null) continue;
    notifications.push(...step.notifications);
    next = { ...next, recipientStates: withRecipientState(next.recipientStates, step.recipientState) };
  }
  next = { ...next, unreachable: isUnreachable(next, recipients, now) };
  return { escalation: next, notifications, nextAt: nextCheckAt(next, recipients, now) };
}

/** A phone of this person displayed a notification of this escalation. Where no push went to them, nothing changes. */
export function recordDisplay(escalation: Escalation, person: string, at: Instant): Escalation {
  return {
    ...escalation,
    recipientStates: escalation.recipientStates.map((one) =>
      one.person === person && one.pushedAt !== null
        ? { ...one, displayedAt: one.displayedAt === null ? at : later(one.displayedAt, at) }
        : one,
    ),
  };
}

export const isActive = (escalation: Escalation | null): escalation is Escalation =>
  escalation !== null && escalation.endedAt === null;

/**
 * Urgent: the next level comes when nobody has acknowledged within the yard's time. Urgent and soon: a level where nobody can be
 * reached is passed at once; its people are still notified when their quiet hours end. Each level has its whole time from when it
 * was really notified, also where the server was down before: to wake all levels at once would leave nobody to escalate to.
 */
function levelNow(escalation: Escalation, recipients: Recipients, now: Instant): Pick<Escalation, "level" | "levelAt"> {
  let { level, levelAt } = escalation;
  for (const next of levelsAfter(level, recipients)) {
    const waits = level > 0 && isLevelReached(escalation, level, recipients, now);
    if (waits && (escalation.priority === "soon" || now < after(levelAt, recipients.escalateAfter))) break;
    level = next;
    levelAt = now;
  }
  // All in quiet hours and nobody notified so far: the first level starts when one person's quiet hours end, and the others wait for it.
  const isAnybodyReachable = recipients.people.some(
    // People whom nothing has reached so far are tried again at the usual gaps, while they have a channel.
    (person) =>
      isLevelReached(escalation, person.escalationOrder, recipients, now) ||
      (timesNotifiedOf(escalation, person) > 0 && hasChannel(person)),
  );
  return isAnybodyReachable ? { level, levelAt } : { level: 0, levelAt: now };
}

function isLevelReached(escalation: Escalation, level: number, { people, zone }: Recipients, now: Instant): boolean {
  return people.some((person) => {
    if (person.escalationOrder !== level) return false;
    if (wasNotified(escalation, person)) return true;
    // `soon` can wait for the morning; `urgent` goes to somebody outside quiet hours.
    return (
      mayReach(escalation, person, now) &&
      (escalation.priority === "soon" || notifiableFrom(person, escalation.priority, zone, now) <= now)
    );
  });
}

function levelsAfter(level: number, { people }: Recipients): number[] {
  return [...new Set(people.map((person) => person.escalationOrder))]
    .filter((one) => one > level)
    .sort((a, b) => a - b);
}

const inEscalationOrder = ({ people }: Recipients): Recipient[] =>
  [...people].sort((a, b) => a.escalationOrder - b.escalationOrder || (a.id < b.id ? -1 : a.id > b.id ? 1 : 0));

const hasChannel = ({ phoneCount, email }: Recipient): boolean => phoneCount > 0 || email !== null;
const recipientStateOf = (escalation: Escalation, { id }: Recipient): RecipientState | null =>
  escalation.recipientStates.find(({ person }) => person === id) ?? null;
const timesNotifiedOf = (escalation: Escalation, person: Recipient): number =>
  recipientStateOf(escalation, person)?.timesNotified ?? 0;

/** They were notified, and nothing shows that this reached nobody. */
function wasNotified(escalation: Escalation, person: Recipient): boolean {
  const state = recipientStateOf(escalation, person);
  return state !== null && state.timesNotified > 0 && !isUndelivered(escalation, state);
}

/** There is a channel that has not failed for them. */
function mayReach(escalation: Escalation, person: Recipient, now: Instant): boolean {
  const state = recipientStateOf(escalation, person);
  if (state === null || state.timesNotified === 0) return hasChannel(person);
  return (
    !isUndelivered(escalation, state) ||
    hasNewPhone(escalation, person, state, now) ||
    needsEmail(escalation, person, state, now)
  );
}

interface DueNotification {
  readonly reason: "first" | "newPhone" | "reminder" | "emailInstead";
  readonly at: Instant; // never within quiet hours that it may not break
}

/** The next notification for this person; null where their level has not come, or they have no channel. */
function nextDueNotification(
  escalation: Escalation,
  person: Recipient,
  zone: string,
  now: Instant,
): DueNotification | null {
  if (person.escalationOrder > escalation.level || !hasChannel(person)) return null;
  const allowedFrom = (at: Instant) => notifiableFrom(person, escalation.priority, zone, later(at, now));
  const state = recipientStateOf(escalation, person);
  if (state === null || state.timesNotified === 0) return { reason: "first", at: allowedFrom(now) };
  if (hasNewPhone(escalation, person, state, now)) return { reason: "newPhone", at: allowedFrom(now) };
  const reminder: DueNotification = {
    reason: "reminder",
    at: allowedFrom(after(state.reminderCountedFrom, reminderGap(escalation.priority, state.timesNotified))),
  };
  if (!needsEmail(escalation, person, state, now)) return reminder;
  const lostFrom =
    person.phoneCount === 0 || isPushLost(state)
      ? now
      : after(state.reminderCountedFrom, displayExpectedWithin[escalation.priority]);
  const email: DueNotification = { reason: "emailInstead", at: allowedFrom(lostFrom) };
  // Where both are late, the reminder goes; the e-mail follows only if that isn't displayed either.
  return reminder.at <= now || reminder.at < email.at ? reminder : email;
}

/** Once to an address since the last raise or rise of priority, and only while no phone of theirs has displayed it since. */
function needsEmail({ renewedAt }: Escalation, person: Recipient, state: RecipientState, now: Instant): boolean {
  if (person.email === null || isAtOrAfter(state.displayedAt, renewedAt)) return false;
  return !isAtOrAfter(state.emailedAt, renewedAt) || hasNewAddress(person, state, now);
}

/** A phone has displayed the last push. */
const hasDisplayedLast = ({ displayedAt, pushedAt }: RecipientState): boolean =>
  pushedAt !== null && isAtOrAfter(displayedAt, pushedAt);

interface NotifyStep {
  readonly recipientState: RecipientState;
  readonly notifications: readonly OutgoingNotification[];
}

function notifyIfDue(escalation: Escalation, person: Recipient, zone: string, now: Instant): NotifyStep | null {
  const due = nextDueNotification(escalation, person, zone, now);
  if (due === null || due.at > now) return null;
  const before = recipientStateOf(escalation, person) ?? initialRecipientState(person, now);
  const push = due.reason !== "emailInstead" && person.phoneCount > 0;
  const email = person.email !== null && goesByEmail(due, escalation, before, person, now);
  const content = alarmContent(escalation, due.reason === "reminder", zone, now);
  return {
    notifications: [
      ...(push ? [{ ...notificationTo(escalation, person.id, "push", content), ...newPhonesOnly(due, before) }] : []),
      ...(email ? [notificationTo(escalation, person.id, "email", content)] : []),
    ],
    recipientState: notifiedState(before, due, { push, email, hasPhone: person.phoneCount > 0 }, now),
  };
}

function notifiedState(
  before: RecipientState,
  { reason }: DueNotification,
  sent: { readonly push: boolean; readonly email: boolean; readonly hasPhone: boolean },
  now: Instant,
): RecipientState {
  // An e-mail instead of a push, and a push to a new phone, belong to the notification that nobody saw.
  const counts = reason === "first" || reason === "reminder";
  return {
    ...before,
    timesNotified: before.timesNotified + (counts ? 1 : 0),
    lastNotifiedAt: sent.push || sent.email ? now : before.lastNotifiedAt,
    // Without a phone the e-mail is the notification.
    reminderCountedFrom: sent.push || counts || !sent.hasPhone ? now : before.reminderCountedFrom,
    ...(sent.push ? { pushedAt: now, pushLostAt: null } : {}),
    ...(sent.email ? { emailedAt: now, emailLostAt: null } : {}),
    awaitsEndNews: false,
  };
}

/** The other phones have it already, as far as is known; where the last push was lost, all are tried. */
function newPhonesOnly({ reason }: DueNotification, state: RecipientState): Pick<OutgoingNotification, "phonesAfter"> {
  if (reason !== "newPhone" || state.pushedAt === null || isPushLost(state)) return {};
  return { phonesAfter: state.pushedAt };
}

/** People with e-mail only get one reminder of three: a second e-mail doesn't make them read the first. */
function goesByEmail(
  { reason }: DueNotification,
  escalation: Escalation,
  state: RecipientState,
  person: Recipient,
  now: Instant,
): boolean {
  const noPhone = person.phoneCount === 0;
  switch (reason) {
    case "first":
      return noPhone;
    case "newPhone":
      return false;
    case "emailInstead":
      return true;
    case "reminder":
      if (noPhone && needsEmail(escalation, person, state, now)) return true; // the phone was removed between notification and reminder
      return (
        isEmailReminder(state.timesNotified) &&
        (noPhone || !(hasDisplayedLast(state) || isAtOrAfter(state.emailedAt, state.reminderCountedFrom)))
      );
  }
}

const initialRecipientState = ({ id }: Recipient, now: Instant): RecipientState => ({
  person: id,
  timesNotified: 0,
  firstNotifiedAt: now,
  lastNotifiedAt: now,
  reminderCountedFrom: now,
  pushedAt: null,
  displayedAt: null,
  emailedAt: null,
  awaitsEndNews: false,
});

function withRecipientState(state: readonly RecipientState[], one: RecipientState): readonly RecipientState[] {
  return [...state.filter(({ person }) => person !== one.person), one];
}

/** A `soon` that waits for the morning counts as on its way; an urgent one that reaches nobody now doesn't. */
function isUnreachable(escalation: Escalation, { people }: Recipients, now: Instant): boolean {
  if (people.some((person) => wasNotified(escalation, person))) return false;
  return escalation.priority === "urgent" || !people.some((person) => mayReach(escalation, person, now));
}

function nextCheckAt(escalation: Escalation, recipients: Recipients, now: Instant): Instant | null {
  // Before the first level: whoever's quiet hours end first.
  const atAnyLevel = escalation.level === 0 ? { ...escalation, level: Number.POSITIVE_INFINITY } : escalation;
  const checkTimes = recipients.people.flatMap(
    (person) => nextDueNotification(atAnyLevel, person, recipients.zone, now)?.at ?? [],
  );
  const hasNextLevel =
    escalation.priority === "urgent" && escalation.level > 0 && levelsAfter(escalation.level, recipients).length > 0;
  if (hasNextLevel) checkTimes.push(after(escalation.levelAt, recipients.escalateAfter));
  if (escalation.unreachable) checkTimes.push(after(now, unreachableCheckEvery));
  return checkTimes.length === 0 ? null : checkTimes.reduce(earlier);
}

/** Nobody is notified any more. What is left: e-mails about the end after quiet hours, and the removal of the escalation. */
function advanceAnswered(escalation: Escalation, recipients: Recipients, now: Instant): EscalationStep {
  const notifications: OutgoingNotification[] = [];
  const checkTimes: Instant[] = [];
  const state = escalation.recipientStates.map((one) => {
    const person = recipients.people.find(({ id }) => id === one.person);
    if (!one.awaitsEndNews || escalation.news === null || !person || person.email === null)
      return { ...one, awaitsEndNews: false };
    const at = notifiableFrom(person, escalation.priority, recipients.zone, now);
    if (at > now) {
      checkTimes.push(at);
      return one;
    }
    notifications.push(notificationTo(escalation, person.id, "email", closingContent(escalation, escalation.news)));
    return { ...one, awaitsEndNews: false };
  });
  if (escalation.endedAt !== null) {
    const forgetAt = after(escalation.endedAt, forgetAfterEnd);
    if (checkTimes.length === 0 && now >= forgetAt) return { escalation: null, notifications, nextAt: null };
    if (forgetAt > now) checkTimes.push(forgetAt);
  }
  const nextAt = checkTimes.length === 0 ? null : checkTimes.reduce(earlier);
  return {
    escalation: { ...escalation, recipientStates: state, holdUntil: null, unreachable: false },
    notifications,
    nextAt,
  };
}

/** Removed recipients get nothing more of the yard. */
function withCurrentRecipients(escalation: Escalation, { people }: Recipients): Escalation {
  const state = escalation.recipientStates.filter(({ person }) => people.some(({ id }) => id === person));
  return state.length === escalation.recipientStates.length ? escalation : { ...escalation, recipientStates: state };
}
