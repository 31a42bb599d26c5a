import { texts } from "../../text/index.ts";
import { after, before, earlier, type Instant, later, minutes, type Span } from "../instant.ts";
import { isActive } from "./advanceEscalation.ts";
import {
  applyToOwnEscalation,
  type FeederEventInGroup,
  type Group,
  type GroupedFeeder,
  type GroupedYard,
  topicOfFeeder,
  withFeederEscalation,
  yardTopic,
} from "./alarmGroup.ts";
import type {
  AlarmEvent,
  AlarmSource,
  Escalation,
  EscalationNews,
  RecipientState,
  Recipients,
  SilentFeeder,
} from "./escalation.ts";
import { allReportingNews, groupedNews, oneSilentNews, silentYardNews } from "./groupedText.ts";
import { applyAlarmEvent, closingNotifications } from "./handleAlarmEvent.ts";

/** Feeders of one yard that stop reporting together have one likely cause, its power or its network: one escalation for the yard. */

/**
 * Feeders whose last reports are this near to each other stopped together: common practice, no source. The last reports are
 * compared, not the alarms: the time without reports that raises an alarm differs from feeder to feeder.
 */
const togetherWithin = minutes(15);

/** How long the first alarm waits for a second feeder that is late too, so that one notification covers both. */
const holdAtMost = minutes(2);

/** As in silence/feederSilence.ts: half an interval after its time a report is more likely lost than late. */
const overdueFactor = 1.5;

/** Feeders out of service or removed from the yard leave the group; the others are grouped by their present state. */
export function regroupSilence(group: Group, recipients: Recipients, now: Instant): Group {
  const { yard } = group;
  const leaving = groupedFeedersOf(yard).filter((id) => !yard.feeders.some((one) => one.id === id && one.inService));
  const text = texts.notification.group.outOfService;
  const remaining = removeFeeders(
    group,
    new Set(leaving),
    { kind: "suppressed", fault: yard.fault, at: now, text },
    recipients,
    now,
  );
  return releaseHeld(groupSilentFeeders(remaining, recipients, now), now);
}

const groupedFeedersOf = ({ escalation }: GroupedYard): string[] =>
  isActive(escalation) ? escalation.silentFeeders.map(({ feeder }) => feeder) : [];

export function handleSilenceEvent(
  group: Group,
  feederEvent: FeederEventInGroup,
  recipients: Recipients,
  now: Instant,
): Group {
  const { feeder, event } = feederEvent;
  if (!groupedFeedersOf(group.yard).includes(feeder.id)) return handleOwnEvent(group, feederEvent, recipients, now);
  switch (event.kind) {
    case "raised":
    case "worsened": // the yard's escalation covers it, and no priority is above urgent
      return group;
    case "acknowledged": // to acknowledge one acknowledges the yard's cause
      return applyYardEvent(group, event, recipients, now);
    case "returned":
    case "suppressed":
      return removeFeeders(group, new Set([feeder.id]), event, recipients, now);
  }
}

function handleOwnEvent(
  group: Group,
  { feeder, event }: FeederEventInGroup,
  recipients: Recipients,
  now: Instant,
): Group {
  const known =
    event.kind === "raised" && event.sameEpisode ? escalationToResume(group.yard, feeder, event) : feeder.escalation;
  const next = applyToOwnEscalation(group, { feeder: { ...feeder, escalation: known }, event }, recipients, now);
  const escalation = next.yard.feeders.find(({ id }) => id === feeder.id)?.escalation ?? null;
  const isNew = isActive(escalation) && escalation.level === 0 && escalation !== feeder.escalation;
  return isNew ? withFeederEscalation(next, feeder.id, { ...escalation, holdUntil: after(now, holdAtMost) }) : next;
}

/** No reports again within the hour after it was in a group: whoever was notified of the group is not notified again. */
function escalationToResume(
  yard: GroupedYard,
  feeder: GroupedFeeder,
  { at, title, body }: RaisedEvent,
): Escalation | null {
  const { escalation } = yard;
  if (feeder.escalation !== null || escalation === null || isActive(escalation)) return feeder.escalation;
  const part = { feeder: feeder.id, name: feeder.name, topic: topicOfFeeder(yard, feeder.id), raisedAt: at };
  return feederEscalation(escalation, { ...part, lastReportAt: feeder.lastReportAt ?? at, title, body });
}
type RaisedEvent = Extract<AlarmEvent, { kind: "raised" }>;

const yardSource = ({ id, name, fault }: GroupedYard): AlarmSource => ({
  ...{ yard: id, feeder: null, topic: yardTopic(id, fault), name },
});

function applyYardEvent(group: Group, event: AlarmEvent, recipients: Recipients, now: Instant): Group {
  const { escalation, notifications } = applyAlarmEvent(
    group.yard.escalation,
    event,
    yardSource(group.yard),
    recipients,
    now,
  );
  return { ...group, yard: { ...group.yard, escalation }, notifications: [...group.notifications, ...notifications] };
}

/** These report again or are suppressed. Where one feeder is left, it gets its own escalation. */
function removeFeeders(
  group: Group,
  leaving: ReadonlySet<string>,
  event: AlarmEvent,
  recipients: Recipients,
  now: Instant,
): Group {
  const { yard } = group;
  const { escalation } = yard;
  if (!isActive(escalation) || leaving.size === 0) return group;
  const silentFeeders = escalation.silentFeeders.filter((one) => !leaving.has(one.feeder));
  const [last, ...others] = silentFeeders;
  if (last === undefined) return endYardEscalation(group, event, recipients, now);
  return others.length > 0
    ? updateYardText({ ...group, yard: { ...yard, escalation: { ...escalation, silentFeeders } } }, recipients)
    : endWithOneFeeder(group, escalation, last, recipients, now);
}

function endYardEscalation(group: Group, event: AlarmEvent, recipients: Recipients, now: Instant): Group {
  const news = event.kind === "returned" ? { ...event, ...allReportingNews(group.yard.name) } : event;
  const ended = applyYardEvent(group, news, recipients, now);
  const { escalation } = ended.yard;
  return { ...ended, yard: { ...ended.yard, escalation: escalation && { ...escalation, silentFeeders: [] } } };
}

function endWithOneFeeder(
  group: Group,
  escalation: Escalation,
  last: SilentFeeder,
  recipients: Recipients,
  now: Instant,
): Group {
  const { yard } = group;
  const news = oneSilentNews(yard.name, last);
  const closing = closingNotifications(escalation, escalation.recipientStates, news, recipients);
  // Stored for a while: a feeder that stops again within the hour was in the group, and needs no second notification.
  const recipientStates = escalation.recipientStates.map((person) => ({ ...person, awaitsEndNews: false }));
  const ended: Escalation = { ...escalation, recipientStates, silentFeeders: [], endedAt: now, news: null };
  const next = withFeederEscalation(
    { ...group, yard: { ...yard, escalation: ended } },
    last.feeder,
    feederEscalation(escalation, last),
  );
  return {
    ...next,
    notifications: [...group.notifications, ...closing],
    changedTopics: escalation.acknowledgedBy === null ? [...group.changedTopics, last.topic] : group.changedTopics,
  };
}

/** The yard's escalation becomes one feeder's: nobody is notified a second time. */
const feederEscalation = (
  escalation: Escalation,
  { feeder, name, topic, raisedAt, title, body }: SilentFeeder,
): Escalation => ({
  ...escalation,
  ...{ feeder, subjectName: name, topic, raisedAt, title, body },
  silentFeeders: [],
});

/** Feeders that stopped together become one group: they join the yard's active escalation, or two of them start one. */
function groupSilentFeeders(group: Group, recipients: Recipients, now: Instant): Group {
  const { yard } = group;
  const alone = yard.feeders.filter(({ inService, escalation }) => inService && isActive(escalation));
  if (isActive(yard.escalation)) {
    const { silentFeeders } = yard.escalation;
    const nearOne = alone.filter((feeder) =>
      silentFeeders.some((part) => areTogether(feeder, reportTimesOf(yard, part))),
    );
    return nearOne.length === 0 ? group : addFeeders(group, yard.escalation, nearOne, recipients);
  }
  const together = largestGroup(alone);
  return together.length < 2
    ? group
    : addFeeders(group, newYardEscalation(yard, together, recipients, now), together, recipients);
}

/** As it was when it joined: it may be in storage since then, or report at this very moment. */
const reportTimesOf = (yard: GroupedYard, { feeder, lastReportAt }: SilentFeeder): ReportTimes => ({
  lastReportAt,
  reportEvery: yard.feeders.find(({ id }) => id === feeder)?.reportEvery ?? togetherWithin,
});

type ReportTimes = Pick<GroupedFeeder, "lastReportAt" | "reportEvery">;

/** A feeder that reports each half hour may have lost its power half an hour after its last report. */
function areTogether(a: ReportTimes, b: ReportTimes): boolean {
  if (a.lastReportAt === null || b.lastReportAt === null) return false;
  return Math.abs(a.lastReportAt - b.lastReportAt) <= Math.max(togetherWithin, a.reportEvery, b.reportEvery);
}

/** Each near to the one before it, by their last reports. */
function largestGroup(feeders: readonly GroupedFeeder[]): readonly GroupedFeeder[] {
  const groups: GroupedFeeder[][] = [];
  let group: GroupedFeeder[] = [];
  for (const feeder of [...feeders].sort((a, b) => (a.lastReportAt ?? 0) - (b.lastReportAt ?? 0))) {
    const previous = group.at(-1);
    if (previous === undefined || !areTogether(previous, feeder)) {
      group = [];
      groups.push(group);
    }
    group.push(feeder);
  }
  return groups.reduce((largest, one) => (one.length > largest.length ? one : largest), []);
}

/** Within the hour after the yard's last one, unacknowledged, it is the same episode; else it is new. */
function newYardEscalation(
  yard: GroupedYard,
  together: readonly GroupedFeeder[],
  recipients: Recipients,
  now: Instant,
): Escalation {
  const news = silentYardNews(yard.name, together.flatMap(silentFeederOf), inServiceCount(yard), recipients.zone);
  const sameEpisode = yard.escalation !== null && yard.escalation.acknowledgedBy === null;
  const event: AlarmEvent = {
    ...{ kind: "raised", fault: "feederSilent", priority: "urgent", at: now, ...news, sameEpisode },
  };
  const { escalation } = applyAlarmEvent(yard.escalation, event, yardSource(yard), recipients, now);
  if (escalation === null) throw new TypeError("expected an escalation from a raise, got none");
  return escalation;
}

function addFeeders(
  group: Group,
  escalation: Escalation,
  joining: readonly GroupedFeeder[],
  recipients: Recipients,
): Group {
  // What somebody has acknowledged for one feeder has to be acknowledged again for several.
  const open = joining.flatMap((feeder) => (feeder.escalation?.acknowledgedBy === null ? [feeder.escalation] : []));
  const silent = [...escalation.silentFeeders, ...joining.flatMap(silentFeederOf)];
  const whole = { ...mergeProgress(escalation, open), silentFeeders: silent };
  const joined = joining.reduce((next, { id }) => withFeederEscalation(next, id, null), group);
  const title = silentYardNews(group.yard.name, silent, inServiceCount(group.yard), recipients.zone).title;
  const closed = joining.flatMap(({ name, escalation }) =>
    escalation === null
      ? []
      : closingNotifications(escalation, escalation.recipientStates, groupedNews(name, title), recipients),
  );
  const notifications = [...group.notifications, ...closed];
  return updateYardText({ ...joined, yard: { ...joined.yard, escalation: whole }, notifications }, recipients);
}

/** Whoever was notified of one of them isn't notified again; the escalation continues at the highest level of them. */
function mergeProgress(escalation: Escalation, open: readonly Escalation[]): Escalation {
  const escalations = [escalation, ...open];
  const level = Math.max(...escalations.map((one) => one.level));
  return {
    ...escalation,
    recipientStates: mergeRecipientStates(escalations.flatMap((one) => one.recipientStates)),
    level,
    levelAt: escalations
      .filter((one) => one.level === level)
      .map((one) => one.levelAt)
      .reduce(earlierOf),
    renewedAt: escalations
      .filter((one) => one.level > 0)
      .map((one) => one.renewedAt)
      .reduce(earlierOf, escalation.renewedAt),
  };
}

const earlierOf = (a: Instant, b: Instant): Instant => earlier(a, b);

function mergeRecipientStates(states: readonly RecipientState[]): readonly RecipientState[] {
  const byPerson = new Map<string, RecipientState>();
  for (const one of states) {
    const other = byPerson.get(one.person);
    byPerson.set(one.person, other ? mergeRecipientState(other, one) : one);
  }
  return [...byPerson.values()];
}

const mergeRecipientState = (a: RecipientState, b: RecipientState): RecipientState => ({
  person: a.person,
  timesNotified: Math.max(a.timesNotified, b.timesNotified),
  firstNotifiedAt: earlier(a.firstNotifiedAt, b.firstNotifiedAt),
  lastNotifiedAt: later(a.lastNotifiedAt, b.lastNotifiedAt),
  reminderCountedFrom: later(a.reminderCountedFrom, b.reminderCountedFrom),
  pushedAt: latestOf(a.pushedAt, b.pushedAt),
  displayedAt: latestOf(a.displayedAt, b.displayedAt),
  emailedAt: latestOf(a.emailedAt, b.emailedAt),
  ...mergeLosses(a, b),
  awaitsEndNews: false,
});

/** Lost only where neither of the two can have reached them. */
function mergeLosses(a: RecipientState, b: RecipientState): Pick<RecipientState, "pushLostAt" | "emailLostAt"> {
  const lost = (sent: "pushedAt" | "emailedAt", mark: "pushLostAt" | "emailLostAt"): Instant | null => {
    const marks = [a, b].filter((one) => one[sent] !== null).map((one) => one[mark] ?? null);
    return marks.includes(null) ? null : marks.reduce(latestOf, null);
  };
  return { pushLostAt: lost("pushedAt", "pushLostAt"), emailLostAt: lost("emailedAt", "emailLostAt") };
}

const latestOf = (a: Instant | null, b: Instant | null): Instant | null =>
  a === null ? b : b === null ? a : later(a, b);

function silentFeederOf({ id, name, lastReportAt, escalation }: GroupedFeeder): SilentFeeder[] {
  if (escalation === null || lastReportAt === null) return [];
  const { topic, raisedAt, title, body } = escalation;
  return [{ feeder: id, name, topic, lastReportAt, raisedAt, title, body }];
}

const inServiceCount = ({ feeders }: GroupedYard): number => feeders.filter(({ inService }) => inService).length;

/** The present number of feeders without reports; people who were notified get it without a sound. */
function updateYardText(group: Group, recipients: Recipients): Group {
  const { yard } = group;
  if (yard.escalation === null) return group;
  const { title, body }: EscalationNews = silentYardNews(
    yard.name,
    yard.escalation.silentFeeders,
    inServiceCount(yard),
    recipients.zone,
  );
  const escalation = { ...yard.escalation, title, body };
  return { ...group, yard: { ...yard, escalation }, changedTopics: [...group.changedTopics, escalation.topic] };
}

/** A first alarm waits only while another feeder of the yard is late too and could raise its alarm before the wait ends. */
function releaseHeld(group: Group, now: Instant): Group {
  return group.yard.feeders.reduce((next, feeder) => {
    const { escalation } = feeder;
    if (!isActive(escalation) || escalation.holdUntil === null) return next;
    const { holdUntil } = escalation;
    const waits = group.yard.feeders.some((other) => {
      const { id, inService, silentFrom, escalation } = other;
      if (id === feeder.id || !inService || isActive(escalation) || silentFrom === null) return false;
      return isOverdue(other, now) && silentFrom <= holdUntil && areTogether(feeder, other);
    });
    return waits ? next : withFeederEscalation(next, feeder.id, { ...escalation, holdUntil: null });
  }, group);
}

const isOverdue = ({ lastReportAt, reportEvery }: GroupedFeeder, now: Instant): boolean =>
  lastReportAt !== null && lastReportAt < before(now, (overdueFactor * reportEvery) as Span);
