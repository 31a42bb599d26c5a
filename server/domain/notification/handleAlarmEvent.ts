import { after, between, type Instant } from "../instant.ts";
import { advanceEscalation, isActive } from "./advanceEscalation.ts";
import type {
  AlarmEvent,
  AlarmSource,
  Escalation,
  EscalationNews,
  EscalationStep,
  OutgoingNotification,
  RecipientState,
  Recipients,
} from "./escalation.ts";
import {
  acknowledgedNews,
  closingContent,
  correctionContent,
  notificationTo,
  suppressedNews,
} from "./notificationContent.ts";

/**
 * A new word about an alarm: what becomes of its call, and whom to tell now. Hearing the same word twice tells nothing twice.
 *
 * `call` is what is stored under the topic, null where nothing is. The silence of feeders isn't heard here but together
 * with its yard (groupedAlarms.ts).
 */
export function handleAlarmEvent(
  call: Escalation | null,
  word: AlarmEvent,
  of: AlarmSource,
  circle: Recipients,
  now: Instant,
): EscalationStep {
  const heard = applyAlarmEvent(call, word, of, circle, now);
  if (heard.escalation === null) return { escalation: null, notifications: heard.notifications, nextAt: null };
  const step = advanceEscalation(heard.escalation, circle, now);
  const tellings = [...heard.notifications, ...step.notifications];
  return {
    ...step,
    notifications: heard.isTextChanged ? [...tellings, ...correctionNotifications(step, circle)] : tellings,
  };
}

interface EventOutcome {
  readonly escalation: Escalation | null;
  readonly notifications: readonly OutgoingNotification[];
  /** What stands on the screens of those who don't hear it ring now must be set right. */
  readonly isTextChanged: boolean;
}

/** What the word itself says, before time has its turn. */
export function applyAlarmEvent(
  call: Escalation | null,
  word: AlarmEvent,
  of: AlarmSource,
  circle: Recipients,
  now: Instant,
): EventOutcome {
  switch (word.kind) {
    case "raised":
      if (isActive(call) && call.raisedAt === word.at) return noChange(call);
      if (call !== null && word.sameEpisode && call.recipientStates.length > 0) {
        return { escalation: resumeEscalation(call, word, now), notifications: [], isTextChanged: true };
      }
      return {
        escalation: startEscalation(call, word, word.at, of, now),
        notifications: [],
        isTextChanged: isActive(call),
      };
    case "worsened":
      if (isActive(call) && call.renewedAt === word.at) return noChange(call);
      return {
        escalation: startEscalation(call, word, word.raisedAt, of, now),
        notifications: [],
        isTextChanged: isActive(call),
      };
    case "acknowledged":
      if (!isActive(call) || call.acknowledgedBy !== null) return noChange(call);
      return acknowledgeEscalation(call, word.by, circle);
    case "returned":
      return isActive(call) ? endEscalation(call, { title: word.title, body: word.body }, circle, now) : noChange(call);
    case "suppressed":
      return isActive(call) ? endEscalation(call, suppressedNews(call, word.text), circle, now) : noChange(call);
  }
}

const noChange = (call: Escalation | null): EventOutcome => ({
  escalation: call,
  notifications: [],
  isTextChanged: false,
});

type OpeningEvent = Extract<AlarmEvent, { kind: "raised" | "worsened" }>;

/** It rings from the first turn on. Who knows of something milder keeps it on the screen, set right, until it rings for them. */
function startEscalation(
  before: Escalation | null,
  word: OpeningEvent,
  raisedAt: Instant,
  of: AlarmSource,
  now: Instant,
): Escalation {
  const { fault, priority, title, body } = word;
  const { yard, feeder, topic, name } = of;
  const told = isActive(before)
    ? before.recipientStates.map((one) => ({ ...one, timesNotified: 0, awaitsEndNews: false }))
    : [];
  return {
    ...{ yard, feeder, topic, subjectName: name, fault, priority, title, body },
    raisedAt,
    renewedAt: word.at,
    holdUntil: null,
    level: 0,
    levelAt: now,
    recipientStates: told,
    acknowledgedBy: null,
    endedAt: null,
    news: null,
    unreachable: false,
    groupedUnder: null,
    alsoFeeders: isActive(before) ? before.alsoFeeders : [],
    silentFeeders: [],
  };
}

/**
 * Back within the hour: what the screens said in between is set right without a sound. The call's clocks stood still while it
 * was away; else a fault that flickers would either never reach the second turn, or reach it at its first return.
 */
function resumeEscalation(call: Escalation, word: Extract<AlarmEvent, { kind: "raised" }>, now: Instant): Escalation {
  const away = between(call.endedAt ?? now, now);
  // Who was told by mail that it is over must hear by mail that it isn't.
  const knowsBetter = (one: RecipientState) =>
    knowsByEmailOnly(one) && !one.awaitsEndNews && call.priority === "urgent";
  return {
    ...call,
    priority: word.priority,
    title: word.title,
    body: word.body,
    raisedAt: word.at,
    holdUntil: null,
    levelAt: after(call.levelAt, away),
    recipientStates: call.recipientStates.map((one) => ({
      ...one,
      reminderCountedFrom: after(one.reminderCountedFrom, away),
      emailedAt: knowsBetter(one) && call.endedAt !== null ? null : one.emailedAt,
      awaitsEndNews: false,
    })),
    acknowledgedBy: null,
    endedAt: null,
    news: null,
  };
}

/** One has it in hand: everybody else may put the phone away. */
function acknowledgeEscalation(call: Escalation, by: string, circle: Recipients): EventOutcome {
  const others = call.recipientStates.filter((one) => nameOf(one, circle) !== by);
  const news = acknowledgedNews(call, by);
  return {
    escalation: { ...call, ...awaitingEndNews(call, others), acknowledgedBy: by, news, holdUntil: null },
    notifications: closingNotifications(call, others, news, circle),
    isTextChanged: false,
  };
}

/** It is over, or was set aside: whoever was told hears of it without a sound, and nobody else. */
function endEscalation(call: Escalation, news: EscalationNews, circle: Recipients, now: Instant): EventOutcome {
  if (call.recipientStates.length === 0) return noChange(null);
  return {
    escalation: { ...call, ...awaitingEndNews(call, call.recipientStates), endedAt: now, news, holdUntil: null },
    notifications: closingNotifications(call, call.recipientStates, news, circle),
    isTextChanged: false,
  };
}

/** A letter about something that may wait till tomorrow needs no second letter to take it back. */
function awaitingEndNews(call: Escalation, whom: readonly RecipientState[]): Pick<Escalation, "recipientStates"> {
  const owed = (one: RecipientState) => call.priority === "urgent" && whom.includes(one) && knowsByEmailOnly(one);
  return { recipientStates: call.recipientStates.map((one) => ({ ...one, awaitsEndNews: owed(one) })) };
}

/** No phone has proved since that it showed anything: as far as we know the letter is the newest they have. */
const knowsByEmailOnly = ({ emailedAt, displayedAt }: RecipientState): boolean =>
  emailedAt !== null && (displayedAt === null || displayedAt < emailedAt);

/** On every screen that a push of this call may stand on, shown or still under way. */
export function closingNotifications(
  call: Escalation,
  whom: readonly RecipientState[],
  news: EscalationNews,
  circle: Recipients,
): OutgoingNotification[] {
  return peopleWithDisplay(whom, circle).map((person) =>
    notificationTo(call, person, "push", closingContent(call, news)),
  );
}

/** Newer words for every screen that the step itself doesn't ring. */
export function correctionNotifications(
  { escalation, notifications }: EscalationStep,
  circle: Recipients,
): OutgoingNotification[] {
  if (escalation === null) return [];
  const rung = new Set(notifications.filter(({ channel }) => channel === "push").map(({ person }) => person));
  const notice = correctionContent(escalation);
  return peopleWithDisplay(escalation.recipientStates, circle)
    .filter((person) => !rung.has(person))
    .map((person) => notificationTo(escalation, person, "push", notice));
}

function peopleWithDisplay(told: readonly RecipientState[], { people }: Recipients): string[] {
  return told
    .filter((one) => one.pushedAt !== null && people.some(({ id, phoneCount }) => id === one.person && phoneCount > 0))
    .map(({ person }) => person);
}

const nameOf = ({ person }: RecipientState, { people }: Recipients): string | null =>
  people.find(({ id }) => id === person)?.name ?? null;
