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

/** Feeders of one yard that fall silent together have one cause, most likely its power or its network: the yard's call says so. */

/**
 * Last heard this near to each other, feeders fell silent together: common practice, no source. When they were last heard
 * is compared, not when that became an alarm: how long a silence must grow for that differs from line to line.
 */
const togetherWithin = minutes(15);

/** How long the first one's alarm waits for a second that is late too, so that one word can speak of both. */
const holdAtMost = minutes(2);

/** As in silence/feederSilence.ts: half an interval past its time a report is nearer to lost than to late by chance. */
const overdueFactor = 1.5;

/** Those that are out of service, or not of the yard any more, are missed by nobody; the others are told as they stand. */
export function regroupSilence(group: Group, circle: Recipients, now: Instant): Group {
  const { yard } = group;
  const gone = groupedFeedersOf(yard).filter((id) => !yard.feeders.some((one) => one.id === id && one.inService));
  const words = "Its feeders are out of service.";
  const thinned = removeFeeders(
    group,
    new Set(gone),
    { kind: "suppressed", fault: yard.fault, at: now, text: words },
    circle,
    now,
  );
  return releaseHeld(groupSilentFeeders(thinned, circle, now), now);
}

const groupedFeedersOf = ({ escalation }: GroupedYard): string[] =>
  isActive(escalation) ? escalation.silentFeeders.map(({ feeder }) => feeder) : [];

export function handleSilenceEvent(group: Group, said: FeederEventInGroup, circle: Recipients, now: Instant): Group {
  const { feeder, event } = said;
  if (!groupedFeedersOf(group.yard).includes(feeder.id)) return handleOwnEvent(group, said, circle, now);
  switch (event.kind) {
    case "raised":
    case "worsened": // the yard's call says it, and nothing is graver than urgent
      return group;
    case "acknowledged": // whoever has seen that one is silent has seen why
      return applyYardEvent(group, event, circle, now);
    case "returned":
    case "suppressed":
      return removeFeeders(group, new Set([feeder.id]), event, circle, now);
  }
}

function handleOwnEvent(group: Group, { feeder, event }: FeederEventInGroup, circle: Recipients, now: Instant): Group {
  const known =
    event.kind === "raised" && event.sameEpisode ? escalationToResume(group.yard, feeder, event) : feeder.escalation;
  const heard = applyToOwnEscalation(group, { feeder: { ...feeder, escalation: known }, event }, circle, now);
  const call = heard.yard.feeders.find(({ id }) => id === feeder.id)?.escalation ?? null;
  const isNew = isActive(call) && call.level === 0 && call !== feeder.escalation;
  return isNew ? withFeederEscalation(heard, feeder.id, { ...call, holdUntil: after(now, holdAtMost) }) : heard;
}

/** Back within the hour after it was told as one with others: whoever heard that needn't be rung for this. */
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

function applyYardEvent(group: Group, word: AlarmEvent, circle: Recipients, now: Instant): Group {
  const { escalation, notifications } = applyAlarmEvent(
    group.yard.escalation,
    word,
    yardSource(group.yard),
    circle,
    now,
  );
  return { ...group, yard: { ...group.yard, escalation }, notifications: [...group.notifications, ...notifications] };
}

/** These are heard again, or nothing is asked of them any more. Where one alone is left it becomes its own call. */
function removeFeeders(
  group: Group,
  gone: ReadonlySet<string>,
  word: AlarmEvent,
  circle: Recipients,
  now: Instant,
): Group {
  const { yard } = group;
  const { escalation } = yard;
  if (!isActive(escalation) || gone.size === 0) return group;
  const left = escalation.silentFeeders.filter((one) => !gone.has(one.feeder));
  const [one] = left;
  if (one === undefined) {
    const good = word.kind === "returned" ? { ...word, ...allReportingNews(yard.name) } : word;
    const over = applyYardEvent(group, good, circle, now);
    return {
      ...over,
      yard: { ...over.yard, escalation: over.yard.escalation && { ...over.yard.escalation, silentFeeders: [] } },
    };
  }
  if (left.length > 1)
    return updateYardText({ ...group, yard: { ...yard, escalation: { ...escalation, silentFeeders: left } } }, circle);
  const closed = closingNotifications(escalation, escalation.recipientStates, oneSilentNews(yard.name, one), circle);
  // Remembered for a while: one that falls silent again within the hour was spoken of, and needn't ring.
  const told = escalation.recipientStates.map((person) => ({ ...person, awaitsEndNews: false }));
  const over: Escalation = { ...escalation, recipientStates: told, silentFeeders: [], endedAt: now, news: null };
  const next = withFeederEscalation(
    { ...group, yard: { ...yard, escalation: over } },
    one.feeder,
    feederEscalation(escalation, one),
  );
  return {
    ...next,
    notifications: [...group.notifications, ...closed],
    changedTopics: escalation.acknowledgedBy === null ? [...group.changedTopics, one.topic] : group.changedTopics,
  };
}

/** The yard's call becomes one feeder's: who knew of that one knows of this one, and nobody is rung a second time. */
const feederEscalation = (
  call: Escalation,
  { feeder, name, topic, raisedAt, title, body }: SilentFeeder,
): Escalation => ({
  ...call,
  ...{ feeder, subjectName: name, topic, raisedAt, title, body },
  silentFeeders: [],
});

/** Those that fell silent together are told as one: a standing call of the yard takes them in, two alone make one. */
function groupSilentFeeders(group: Group, circle: Recipients, now: Instant): Group {
  const { yard } = group;
  const alone = yard.feeders.filter(({ inService, escalation }) => inService && isActive(escalation));
  if (isActive(yard.escalation)) {
    const { silentFeeders } = yard.escalation;
    const nearOne = alone.filter((feeder) =>
      silentFeeders.some((part) => areTogether(feeder, reportTimesOf(yard, part))),
    );
    return nearOne.length === 0 ? group : addFeeders(group, yard.escalation, nearOne, circle);
  }
  const together = largestGroup(alone);
  return together.length < 2
    ? group
    : addFeeders(group, newYardEscalation(yard, together, circle, now), together, circle);
}

/** As it was when it joined: it may have been put away since, or be heard at this very moment. */
const reportTimesOf = (yard: GroupedYard, { feeder, lastReportAt }: SilentFeeder): ReportTimes => ({
  lastReportAt,
  reportEvery: yard.feeders.find(({ id }) => id === feeder)?.reportEvery ?? togetherWithin,
});

type ReportTimes = Pick<GroupedFeeder, "lastReportAt" | "reportEvery">;

/** A feeder that reports each half hour may have lost its power half an hour after it was last heard. */
function areTogether(a: ReportTimes, b: ReportTimes): boolean {
  if (a.lastReportAt === null || b.lastReportAt === null) return false;
  return Math.abs(a.lastReportAt - b.lastReportAt) <= Math.max(togetherWithin, a.reportEvery, b.reportEvery);
}

/** Each near to the one before it, by when they were last heard. */
function largestGroup(feeders: readonly GroupedFeeder[]): readonly GroupedFeeder[] {
  const groups: GroupedFeeder[][] = [];
  for (const feeder of [...feeders].sort((a, b) => (a.lastReportAt ?? 0) - (b.lastReportAt ?? 0))) {
    const last = groups.at(-1);
    const previous = last?.at(-1);
    if (last && previous && areTogether(previous, feeder)) last.push(feeder);
    else groups.push([feeder]);
  }
  return groups.reduce((largest, group) => (group.length > largest.length ? group : largest), []);
}

/** Within the hour after the yard's last one, unacknowledged, it is the same episode; else it is new. */
function newYardEscalation(
  yard: GroupedYard,
  together: readonly GroupedFeeder[],
  circle: Recipients,
  now: Instant,
): Escalation {
  const words = silentYardNews(yard.name, together.flatMap(silentFeederOf), inServiceCount(yard), circle.zone);
  const sameEpisode = yard.escalation !== null && yard.escalation.acknowledgedBy === null;
  const word: AlarmEvent = {
    ...{ kind: "raised", fault: "feederSilent", priority: "urgent", at: now, ...words, sameEpisode },
  };
  const { escalation } = applyAlarmEvent(yard.escalation, word, yardSource(yard), circle, now);
  if (escalation === null) throw new TypeError("expected a call from a raise, got none");
  return escalation;
}

function addFeeders(group: Group, call: Escalation, joining: readonly GroupedFeeder[], circle: Recipients): Group {
  // What somebody has acknowledged alone is asked anew: that others are silent too makes it another matter.
  const open = joining.flatMap((feeder) => (feeder.escalation?.acknowledgedBy === null ? [feeder.escalation] : []));
  const silent = [...call.silentFeeders, ...joining.flatMap(silentFeederOf)];
  const whole = { ...mergeProgress(call, open), silentFeeders: silent };
  const joined = joining.reduce((next, { id }) => withFeederEscalation(next, id, null), group);
  const title = silentYardNews(group.yard.name, silent, inServiceCount(group.yard), circle.zone).title;
  const closed = joining.flatMap(({ name, escalation }) =>
    escalation === null
      ? []
      : closingNotifications(escalation, escalation.recipientStates, groupedNews(name, title), circle),
  );
  const tellings = [...group.notifications, ...closed];
  return updateYardText({ ...joined, yard: { ...joined.yard, escalation: whole }, notifications: tellings }, circle);
}

/** Whoever was rung for one of them isn't rung for all; the turns go on from where the farthest is. */
function mergeProgress(call: Escalation, open: readonly Escalation[]): Escalation {
  const calls = [call, ...open];
  const turn = Math.max(...calls.map((one) => one.level));
  return {
    ...call,
    recipientStates: mergeRecipientStates(calls.flatMap((one) => one.recipientStates)),
    level: turn,
    levelAt: calls
      .filter((one) => one.level === turn)
      .map((one) => one.levelAt)
      .reduce(earlierOf),
    renewedAt: calls
      .filter((one) => one.level > 0)
      .map((one) => one.renewedAt)
      .reduce(earlierOf, call.renewedAt),
  };
}

const earlierOf = (a: Instant, b: Instant): Instant => earlier(a, b);

function mergeRecipientStates(told: readonly RecipientState[]): readonly RecipientState[] {
  const byPerson = new Map<string, RecipientState>();
  for (const one of told) {
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

/** Says anew how many are silent; who has been told sees it without a sound. */
function updateYardText(group: Group, circle: Recipients): Group {
  const { yard } = group;
  if (yard.escalation === null) return group;
  const words: EscalationNews = silentYardNews(
    yard.name,
    yard.escalation.silentFeeders,
    inServiceCount(yard),
    circle.zone,
  );
  const call = { ...yard.escalation, title: words.title, body: words.body };
  return { ...group, yard: { ...yard, escalation: call }, changedTopics: [...group.changedTopics, call.topic] };
}

/** A first silence waits only while another of the yard is late too, and may be known for silent before the wait is over. */
function releaseHeld(group: Group, now: Instant): Group {
  const held = group.yard.feeders.filter(({ escalation }) => isActive(escalation) && escalation.holdUntil !== null);
  return held.reduce((next, feeder) => {
    const { escalation } = feeder;
    if (escalation === null || escalation.holdUntil === null) return next;
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
