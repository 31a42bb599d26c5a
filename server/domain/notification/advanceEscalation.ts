import { after, earlier, type Instant, later } from "../instant.ts";
import { hasNewAddress, hasNewPhone, isPushLost, isSince, isUndelivered } from "./deliveryLoss.ts";
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
 * What time does to a call: it reaches the next turn, falls back on mail, reminds, and is forgotten a while after its end.
 *
 * Everything owed is worked out from moments in the call's own state, and written back as done: looking twice at one moment
 * tells nothing twice, and a server that was down makes up for what it missed with one word a person, not with all of them.
 */
export function advanceEscalation(stored: Escalation, circle: Recipients, now: Instant): EscalationStep {
  const call = withCurrentRecipients(stored, circle);
  if (call.endedAt !== null || call.acknowledgedBy !== null) return advanceAnswered(call, circle, now);
  if (call.holdUntil !== null && now < call.holdUntil)
    return { escalation: call, notifications: [], nextAt: call.holdUntil };

  let next: Escalation = { ...call, ...levelNow(call, circle, now), holdUntil: null };
  const tellings: OutgoingNotification[] = [];
  // Everybody's words are made before anybody counts as told, so that people of one turn read the same.
  const asked = next;
  for (const person of inEscalationOrder(circle)) {
    const rung = notifyIfDue(asked, person, circle.zone, now);
    if (rung === null) continue;
    tellings.push(...rung.notifications);
    next = { ...next, recipientStates: withRecipientState(next.recipientStates, rung.recipientState) };
  }
  next = { ...next, unreachable: isUnreachable(next, circle, now) };
  return { escalation: next, notifications: tellings, nextAt: nextCheckAt(next, circle, now) };
}

/** A phone of this person showed a notice of this call. Where no push of it went to them, nothing changes. */
export function recordDisplay(call: Escalation, person: string, at: Instant): Escalation {
  return {
    ...call,
    recipientStates: call.recipientStates.map((one) =>
      one.person === person && one.pushedAt !== null
        ? { ...one, displayedAt: one.displayedAt === null ? at : later(one.displayedAt, at) }
        : one,
    ),
  };
}

export const isActive = (call: Escalation | null): call is Escalation => call !== null && call.endedAt === null;

/**
 * Urgent: the next turn comes when nobody has answered within the yard's time. Both: a turn of whom nobody can be reached is
 * passed at once; its people are still told when their quiet hours end. Each turn has its whole time from when it was really
 * told, also where the server was down when it should have been: waking all turns at once would leave nobody to wait for.
 */
function levelNow(call: Escalation, circle: Recipients, now: Instant): Pick<Escalation, "level" | "levelAt"> {
  let { level, levelAt } = call;
  for (const next of levelsAfter(level, circle)) {
    const waits = level > 0 && isLevelReached(call, level, circle, now);
    if (waits && (call.priority === "soon" || now < after(levelAt, circle.escalateAfter))) break;
    level = next;
    levelAt = now;
  }
  // All asleep, and nobody told so far: the first turn comes when somebody wakes, and the others have to wait for it then.
  const isAnybody = circle.people.some(
    // Whom nothing has reached so far is tried again at the usual gaps, as long as there is something to try.
    (person) =>
      isLevelReached(call, person.escalationOrder, circle, now) ||
      (timesNotifiedOf(call, person) > 0 && hasChannel(person)),
  );
  return isAnybody ? { level, levelAt } : { level: 0, levelAt: now };
}

function isLevelReached(call: Escalation, turn: number, { people, zone }: Recipients, now: Instant): boolean {
  return people.some((person) => {
    if (person.escalationOrder !== turn) return false;
    if (wasNotified(call, person)) return true;
    // What is `soon` can wait for the morning; what is urgent goes to somebody who is awake.
    return (
      mayReach(call, person, now) &&
      (call.priority === "soon" || notifiableFrom(person, call.priority, zone, now) <= now)
    );
  });
}

function levelsAfter(turn: number, { people }: Recipients): number[] {
  return [...new Set(people.map((person) => person.escalationOrder))].filter((one) => one > turn).sort((a, b) => a - b);
}

const inEscalationOrder = ({ people }: Recipients): Recipient[] =>
  [...people].sort((a, b) => a.escalationOrder - b.escalationOrder || (a.id < b.id ? -1 : a.id > b.id ? 1 : 0));

const hasChannel = ({ phoneCount, email }: Recipient): boolean => phoneCount > 0 || email !== null;
const recipientStateOf = (call: Escalation, { id }: Recipient): RecipientState | null =>
  call.recipientStates.find(({ person }) => person === id) ?? null;
const timesNotifiedOf = (call: Escalation, person: Recipient): number =>
  recipientStateOf(call, person)?.timesNotified ?? 0;

/** It rang for them, and nothing says that this reached nobody. */
function wasNotified(call: Escalation, person: Recipient): boolean {
  const told = recipientStateOf(call, person);
  return told !== null && told.timesNotified > 0 && !isUndelivered(call, told);
}

/** There is something by which they have not been tried in vain. */
function mayReach(call: Escalation, person: Recipient, now: Instant): boolean {
  const told = recipientStateOf(call, person);
  if (told === null || told.timesNotified === 0) return hasChannel(person);
  return !isUndelivered(call, told) || hasNewPhone(call, person, told, now) || needsEmail(call, person, told, now);
}

interface DueNotification {
  readonly reason: "first" | "newPhone" | "reminder" | "emailInstead";
  readonly at: Instant; // never within quiet hours that it may not break
}

/** The next thing that this person is owed; null where it isn't their turn, or nothing reaches them. */
function nextDueNotification(call: Escalation, person: Recipient, zone: string, now: Instant): DueNotification | null {
  if (person.escalationOrder > call.level || !hasChannel(person)) return null;
  const awake = (at: Instant) => notifiableFrom(person, call.priority, zone, later(at, now));
  const told = recipientStateOf(call, person);
  if (told === null || told.timesNotified === 0) return { reason: "first", at: awake(now) };
  if (hasNewPhone(call, person, told, now)) return { reason: "newPhone", at: awake(now) };
  const reminder: DueNotification = {
    reason: "reminder",
    at: awake(after(told.reminderCountedFrom, reminderGap(call.priority, told.timesNotified))),
  };
  if (!needsEmail(call, person, told, now)) return reminder;
  const lostFrom =
    person.phoneCount === 0 || isPushLost(told)
      ? now
      : after(told.reminderCountedFrom, displayExpectedWithin[call.priority]);
  const mail: DueNotification = { reason: "emailInstead", at: awake(lostFrom) };
  // Where both are late, the reminder goes; the mail follows only if that isn't shown either.
  return reminder.at <= now || reminder.at < mail.at ? reminder : mail;
}

/** Once to an address since it last rang anew, and only while no phone of theirs has shown it since. */
function needsEmail({ renewedAt }: Escalation, person: Recipient, told: RecipientState, now: Instant): boolean {
  if (person.email === null || isSince(told.displayedAt, renewedAt)) return false;
  return !isSince(told.emailedAt, renewedAt) || hasNewAddress(person, told, now);
}

/** A phone has shown the last ring. */
const hasDisplayedLast = ({ displayedAt, pushedAt }: RecipientState): boolean =>
  pushedAt !== null && isSince(displayedAt, pushedAt);

interface NotifyStep {
  readonly recipientState: RecipientState;
  readonly notifications: readonly OutgoingNotification[];
}

function notifyIfDue(call: Escalation, person: Recipient, zone: string, now: Instant): NotifyStep | null {
  const due = nextDueNotification(call, person, zone, now);
  if (due === null || due.at > now) return null;
  const before = recipientStateOf(call, person) ?? initialRecipientState(person, now);
  const byPush = due.reason !== "emailInstead" && person.phoneCount > 0;
  const byMail = person.email !== null && goesByEmail(due, call, before, person, now);
  const notice = alarmContent(call, due.reason === "reminder", zone, now);
  const tellings: OutgoingNotification[] = [];
  if (byPush) tellings.push({ ...notificationTo(call, person.id, "push", notice), ...newPhonesOnly(due, before) });
  if (byMail) tellings.push(notificationTo(call, person.id, "email", notice));
  // A mail, and a push to a phone that was added since, belong to the ring that nobody saw.
  const counts = due.reason !== "emailInstead" && due.reason !== "newPhone";
  return {
    notifications: tellings,
    recipientState: {
      ...before,
      timesNotified: before.timesNotified + (counts ? 1 : 0),
      lastNotifiedAt: tellings.length > 0 ? now : before.lastNotifiedAt,
      reminderCountedFrom: byPush || counts || person.phoneCount === 0 ? now : before.reminderCountedFrom, // without a phone the letter is the ring
      pushedAt: byPush ? now : before.pushedAt,
      emailedAt: byMail ? now : before.emailedAt,
      ...(byPush ? { pushLostAt: null } : {}),
      ...(byMail ? { emailLostAt: null } : {}),
      awaitsEndNews: false,
    },
  };
}

/** The other phones have it already, as far as anybody knows; where they are known not to, all are tried. */
function newPhonesOnly({ reason }: DueNotification, told: RecipientState): Pick<OutgoingNotification, "phonesAfter"> {
  if (reason !== "newPhone" || told.pushedAt === null || isPushLost(told)) return {};
  return { phonesAfter: told.pushedAt };
}

/** Who has only mail is spared two reminders of three: an unread letter doesn't become read by another. */
function goesByEmail(
  { reason }: DueNotification,
  call: Escalation,
  told: RecipientState,
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
      if (noPhone && needsEmail(call, person, told, now)) return true; // the phone went away between ring and reminder
      return (
        isEmailReminder(told.timesNotified) &&
        (noPhone || !(hasDisplayedLast(told) || isSince(told.emailedAt, told.reminderCountedFrom)))
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

function withRecipientState(told: readonly RecipientState[], one: RecipientState): readonly RecipientState[] {
  return [...told.filter(({ person }) => person !== one.person), one];
}

/** A `soon` that waits for the morning is on its way; an urgent one that nobody hears now isn't. */
function isUnreachable(call: Escalation, { people }: Recipients, now: Instant): boolean {
  if (people.some((person) => wasNotified(call, person))) return false;
  return call.priority === "urgent" || !people.some((person) => mayReach(call, person, now));
}

function nextCheckAt(call: Escalation, circle: Recipients, now: Instant): Instant | null {
  const whose = call.level === 0 ? { ...call, level: Number.POSITIVE_INFINITY } : call; // whoever wakes first
  const looks = circle.people.flatMap((person) => nextDueNotification(whose, person, circle.zone, now)?.at ?? []);
  const goesOn = call.priority === "urgent" && call.level > 0 && levelsAfter(call.level, circle).length > 0;
  if (goesOn) looks.push(after(call.levelAt, circle.escalateAfter));
  if (call.unreachable) looks.push(after(now, unreachableCheckEvery));
  return looks.length === 0 ? null : looks.reduce(earlier);
}

/** Nothing rings any more. What is left is good news by mail for who sleeps, and to forget the call in the end. */
function advanceAnswered(call: Escalation, circle: Recipients, now: Instant): EscalationStep {
  const tellings: OutgoingNotification[] = [];
  const looks: Instant[] = [];
  const told = call.recipientStates.map((one) => {
    const person = circle.people.find(({ id }) => id === one.person);
    if (!one.awaitsEndNews || call.news === null || !person || person.email === null)
      return { ...one, awaitsEndNews: false };
    const at = notifiableFrom(person, call.priority, circle.zone, now);
    if (at > now) {
      looks.push(at);
      return one;
    }
    tellings.push(notificationTo(call, person.id, "email", closingContent(call, call.news)));
    return { ...one, awaitsEndNews: false };
  });
  if (call.endedAt !== null) {
    const forgetAt = after(call.endedAt, forgetAfterEnd);
    if (looks.length === 0 && now >= forgetAt) return { escalation: null, notifications: tellings, nextAt: null };
    if (forgetAt > now) looks.push(forgetAt);
  }
  const nextAt = looks.length === 0 ? null : looks.reduce(earlier);
  return {
    escalation: { ...call, recipientStates: told, holdUntil: null, unreachable: false },
    notifications: tellings,
    nextAt,
  };
}

/** Who is no longer of the circle is told nothing more of the yard. */
function withCurrentRecipients(call: Escalation, { people }: Recipients): Escalation {
  const told = call.recipientStates.filter(({ person }) => people.some(({ id }) => id === person));
  return told.length === call.recipientStates.length ? call : { ...call, recipientStates: told };
}
