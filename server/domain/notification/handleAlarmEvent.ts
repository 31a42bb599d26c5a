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
 * The escalation after a new event of its alarm, and whom to notify now. The same event twice notifies nobody twice.
 *
 * `escalation` is what is stored under the topic, null where nothing is. Faults that are grouped over a yard are handled in
 * groupedAlarms.ts.
 */
export function handleAlarmEvent(
  escalation: Escalation | null,
  event: AlarmEvent,
  of: AlarmSource,
  recipients: Recipients,
  now: Instant,
): EscalationStep {
  const outcome = applyAlarmEvent(escalation, event, of, recipients, now);
  if (outcome.escalation === null) return { escalation: null, notifications: outcome.notifications, nextAt: null };
  const step = advanceEscalation(outcome.escalation, recipients, now);
  const notifications = [...outcome.notifications, ...step.notifications];
  return {
    ...step,
    notifications: outcome.isTextChanged
      ? [...notifications, ...correctionNotifications(step, recipients)]
      : notifications,
  };
}

interface EventOutcome {
  readonly escalation: Escalation | null;
  readonly notifications: readonly OutgoingNotification[];
  /** The text on the screens must be corrected for those who get no notification now. */
  readonly isTextChanged: boolean;
}

/** What the event alone changes; `advanceEscalation` follows. */
export function applyAlarmEvent(
  escalation: Escalation | null,
  event: AlarmEvent,
  of: AlarmSource,
  recipients: Recipients,
  now: Instant,
): EventOutcome {
  switch (event.kind) {
    case "raised":
      return applyRaise(escalation, event, of, now);
    case "worsened":
      if (isActive(escalation) && escalation.renewedAt === event.at) return noChange(escalation);
      return newEscalationOutcome(escalation, event, event.raisedAt, of, now);
    case "acknowledged":
      if (!isActive(escalation) || escalation.acknowledgedBy !== null) return noChange(escalation);
      return acknowledgeEscalation(escalation, event.by, recipients);
    case "returned": {
      const { title, body } = event;
      return isActive(escalation) ? endEscalation(escalation, { title, body }, recipients, now) : noChange(escalation);
    }
    case "suppressed":
      return isActive(escalation)
        ? endEscalation(escalation, suppressedNews(escalation, event.text), recipients, now)
        : noChange(escalation);
  }
}

function applyRaise(
  escalation: Escalation | null,
  event: Extract<AlarmEvent, { kind: "raised" }>,
  of: AlarmSource,
  now: Instant,
): EventOutcome {
  if (isActive(escalation) && escalation.raisedAt === event.at) return noChange(escalation);
  if (escalation !== null && event.sameEpisode && escalation.recipientStates.length > 0) {
    return { escalation: resumeEscalation(escalation, event, now), notifications: [], isTextChanged: true };
  }
  return newEscalationOutcome(escalation, event, event.at, of, now);
}

const newEscalationOutcome = (
  ...[before, event, raisedAt, of, now]: Parameters<typeof startEscalation>
): EventOutcome => ({
  escalation: startEscalation(before, event, raisedAt, of, now),
  notifications: [],
  isTextChanged: isActive(before),
});

const noChange = (escalation: Escalation | null): EventOutcome => ({
  escalation,
  notifications: [],
  isTextChanged: false,
});

type OpeningEvent = Extract<AlarmEvent, { kind: "raised" | "worsened" }>;

/** It starts at the first level. People who know of a lower priority keep it on the screen, corrected, until they are notified. */
function startEscalation(
  before: Escalation | null,
  event: OpeningEvent,
  raisedAt: Instant,
  of: AlarmSource,
  now: Instant,
): Escalation {
  const { fault, priority, title, body } = event;
  const { yard, feeder, topic, name } = of;
  const recipientStates = isActive(before)
    ? before.recipientStates.map((one) => ({ ...one, timesNotified: 0, awaitsEndNews: false }))
    : [];
  return {
    ...{ yard, feeder, topic, subjectName: name, fault, priority, title, body },
    raisedAt,
    renewedAt: event.at,
    holdUntil: null,
    level: 0,
    levelAt: now,
    recipientStates,
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
 * The alarm is back within the hour: the text on the screens is corrected without a sound. The time of its absence doesn't count;
 * else a fault that comes and goes would never reach the second level, or reach it at its first return.
 */
function resumeEscalation(
  escalation: Escalation,
  event: Extract<AlarmEvent, { kind: "raised" }>,
  now: Instant,
): Escalation {
  const away = between(escalation.endedAt ?? now, now);
  // Whoever got an e-mail that it had ended must get one that it is back.
  const gotEndNews = (one: RecipientState) =>
    knowsByEmailOnly(one) && !one.awaitsEndNews && escalation.priority === "urgent";
  return {
    ...escalation,
    priority: event.priority,
    title: event.title,
    body: event.body,
    raisedAt: event.at,
    holdUntil: null,
    levelAt: after(escalation.levelAt, away),
    recipientStates: escalation.recipientStates.map((one) => ({
      ...one,
      reminderCountedFrom: after(one.reminderCountedFrom, away),
      emailedAt: gotEndNews(one) && escalation.endedAt !== null ? null : one.emailedAt,
      awaitsEndNews: false,
    })),
    acknowledgedBy: null,
    endedAt: null,
    news: null,
  };
}

/** One person acts: the others are notified of that, without a sound. */
function acknowledgeEscalation(escalation: Escalation, by: string, recipients: Recipients): EventOutcome {
  const others = escalation.recipientStates.filter((one) => nameOf(one, recipients) !== by);
  const news = acknowledgedNews(escalation, by);
  return {
    escalation: { ...escalation, ...awaitingEndNews(escalation, others), acknowledgedBy: by, news, holdUntil: null },
    notifications: closingNotifications(escalation, others, news, recipients),
    isTextChanged: false,
  };
}

/** It ended or is suppressed: only people who were notified get this, without a sound. */
function endEscalation(
  escalation: Escalation,
  news: EscalationNews,
  recipients: Recipients,
  now: Instant,
): EventOutcome {
  if (escalation.recipientStates.length === 0) return noChange(null);
  return {
    escalation: {
      ...escalation,
      ...awaitingEndNews(escalation, escalation.recipientStates),
      endedAt: now,
      news,
      holdUntil: null,
    },
    notifications: closingNotifications(escalation, escalation.recipientStates, news, recipients),
    isTextChanged: false,
  };
}

/** An e-mail about an alarm that can wait a day needs no second e-mail that it has ended. */
function awaitingEndNews(escalation: Escalation, whom: readonly RecipientState[]): Pick<Escalation, "recipientStates"> {
  const awaits = (one: RecipientState) =>
    escalation.priority === "urgent" && whom.includes(one) && knowsByEmailOnly(one);
  return { recipientStates: escalation.recipientStates.map((one) => ({ ...one, awaitsEndNews: awaits(one) })) };
}

/** No display receipt since the e-mail: as far as is known the e-mail is the newest that they have. */
const knowsByEmailOnly = ({ emailedAt, displayedAt }: RecipientState): boolean =>
  emailedAt !== null && (displayedAt === null || displayedAt < emailedAt);

/** For every screen that may show a push of this escalation, displayed or still on the way. */
export function closingNotifications(
  escalation: Escalation,
  whom: readonly RecipientState[],
  news: EscalationNews,
  recipients: Recipients,
): OutgoingNotification[] {
  return peopleWithDisplay(whom, recipients).map((person) =>
    notificationTo(escalation, person, "push", closingContent(escalation, news)),
  );
}

/** The corrected text for every screen that gets no notification from the step itself. */
export function correctionNotifications(
  { escalation, notifications }: EscalationStep,
  recipients: Recipients,
): OutgoingNotification[] {
  if (escalation === null) return [];
  const notified = new Set(notifications.filter(({ channel }) => channel === "push").map(({ person }) => person));
  const content = correctionContent(escalation);
  return peopleWithDisplay(escalation.recipientStates, recipients)
    .filter((person) => !notified.has(person))
    .map((person) => notificationTo(escalation, person, "push", content));
}

function peopleWithDisplay(states: readonly RecipientState[], { people }: Recipients): string[] {
  return states
    .filter((one) => one.pushedAt !== null && people.some(({ id, phoneCount }) => id === one.person && phoneCount > 0))
    .map(({ person }) => person);
}

const nameOf = ({ person }: RecipientState, { people }: Recipients): string | null =>
  people.find(({ id }) => id === person)?.name ?? null;
