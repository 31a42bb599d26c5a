import { after, before, earlier, type Instant, later, minutes, type Span } from "../instant.ts";
import { isActive } from "../notification/advanceEscalation.ts";
import type {
  AlarmEvent,
  AlarmSource,
  Escalation,
  EscalationNews,
  RecipientState,
  Recipients,
  SilentFeeder,
} from "../notification/escalation.ts";
import { allReportingNews, groupedNews, oneSilentNews, silentYardNews } from "../notification/groupedText.ts";
import { applyAlarmEvent, closingNotifications } from "../notification/handleAlarmEvent.ts";
import {
  type FeederWord,
  type Group,
  type GroupedFeeder,
  type GroupedYard,
  hearAlone,
  topicIn,
  withOwn,
  yardTopic,
} from "./group.ts";

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
export function settleYard(group: Group, circle: Recipients, now: Instant): Group {
  const { yard } = group;
  const gone = partsOf(yard).filter((id) => !yard.feeders.some((one) => one.id === id && one.inService));
  const words = "Its feeders are out of service.";
  const thinned = without(
    group,
    new Set(gone),
    { kind: "suppressed", fault: yard.fault, at: now, text: words },
    circle,
    now,
  );
  return releaseHeld(gathered(thinned, circle, now), now);
}

const partsOf = ({ call }: GroupedYard): string[] =>
  isActive(call) ? call.silentFeeders.map(({ feeder }) => feeder) : [];

export function hearInYard(group: Group, said: FeederWord, circle: Recipients, now: Instant): Group {
  const { feeder, word } = said;
  if (!partsOf(group.yard).includes(feeder.id)) return heardAlone(group, said, circle, now);
  switch (word.kind) {
    case "raised":
    case "worsened": // the yard's call says it, and nothing is graver than urgent
      return group;
    case "acknowledged": // whoever has seen that one is silent has seen why
      return applyYardEvent(group, word, circle, now);
    case "returned":
    case "suppressed":
      return without(group, new Set([feeder.id]), word, circle, now);
  }
}

function heardAlone(group: Group, { feeder, word }: FeederWord, circle: Recipients, now: Instant): Group {
  const known = word.kind === "raised" && word.sameEpisode ? escalationToResume(group.yard, feeder, word) : feeder.call;
  const heard = hearAlone(group, { feeder: { ...feeder, call: known }, word }, circle, now);
  const call = heard.yard.feeders.find(({ id }) => id === feeder.id)?.call ?? null;
  const isNew = isActive(call) && call.level === 0 && call !== feeder.call;
  return isNew ? withOwn(heard, feeder.id, { ...call, holdUntil: after(now, holdAtMost) }) : heard;
}

/** Back within the hour after it was told as one with others: whoever heard that needn't be rung for this. */
function escalationToResume(yard: GroupedYard, feeder: GroupedFeeder, { at, title, body }: Asked): Escalation | null {
  const { call } = yard;
  if (feeder.call !== null || call === null || isActive(call)) return feeder.call;
  const part = { feeder: feeder.id, name: feeder.name, topic: topicIn(yard, feeder.id), raisedAt: at };
  return feederEscalation(call, { ...part, lastReportAt: feeder.lastHeardAt ?? at, title, body });
}
type Asked = Extract<AlarmEvent, { kind: "raised" }>;

const ofYard = ({ id, name, fault }: GroupedYard): AlarmSource => ({
  ...{ yard: id, feeder: null, topic: yardTopic(id, fault), name },
});

function applyYardEvent(group: Group, word: AlarmEvent, circle: Recipients, now: Instant): Group {
  const { escalation: call, notifications: tellings } = applyAlarmEvent(
    group.yard.call,
    word,
    ofYard(group.yard),
    circle,
    now,
  );
  return { ...group, yard: { ...group.yard, call }, tellings: [...group.tellings, ...tellings] };
}

/** These are heard again, or nothing is asked of them any more. Where one alone is left it becomes its own call. */
function without(group: Group, gone: ReadonlySet<string>, word: AlarmEvent, circle: Recipients, now: Instant): Group {
  const { yard } = group;
  const { call } = yard;
  if (!isActive(call) || gone.size === 0) return group;
  const left = call.silentFeeders.filter((one) => !gone.has(one.feeder));
  const [one] = left;
  if (one === undefined) {
    const good = word.kind === "returned" ? { ...word, ...allReportingNews(yard.name) } : word;
    const over = applyYardEvent(group, good, circle, now);
    return { ...over, yard: { ...over.yard, call: over.yard.call && { ...over.yard.call, silentFeeders: [] } } };
  }
  if (left.length > 1)
    return updateYardText({ ...group, yard: { ...yard, call: { ...call, silentFeeders: left } } }, circle);
  const closed = closingNotifications(call, call.recipientStates, oneSilentNews(yard.name, one), circle);
  // Remembered for a while: one that falls silent again within the hour was spoken of, and needn't ring.
  const told = call.recipientStates.map((person) => ({ ...person, awaitsEndNews: false }));
  const over: Escalation = { ...call, recipientStates: told, silentFeeders: [], endedAt: now, news: null };
  const next = withOwn({ ...group, yard: { ...yard, call: over } }, one.feeder, feederEscalation(call, one));
  return {
    ...next,
    tellings: [...group.tellings, ...closed],
    newWords: call.acknowledgedBy === null ? [...group.newWords, one.topic] : group.newWords,
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
function gathered(group: Group, circle: Recipients, now: Instant): Group {
  const { yard } = group;
  const alone = yard.feeders.filter(({ inService, call }) => inService && isActive(call));
  if (isActive(yard.call)) {
    const { silentFeeders: silent } = yard.call;
    const nearOne = alone.filter((feeder) => silent.some((part) => areTogether(feeder, partOf(yard, part))));
    return nearOne.length === 0 ? group : addFeeders(group, yard.call, nearOne, circle);
  }
  const together = largestGroup(alone);
  return together.length < 2
    ? group
    : addFeeders(group, newYardEscalation(yard, together, circle, now), together, circle);
}

/** As it was when it joined: it may have been put away since, or be heard at this very moment. */
const partOf = (yard: GroupedYard, { feeder, lastReportAt: lastHeardAt }: SilentFeeder): ReportTimes => ({
  lastHeardAt,
  reportEvery: yard.feeders.find(({ id }) => id === feeder)?.reportEvery ?? togetherWithin,
});

type ReportTimes = Pick<GroupedFeeder, "lastHeardAt" | "reportEvery">;

/** A feeder that reports each half hour may have lost its power half an hour after it was last heard. */
function areTogether(a: ReportTimes, b: ReportTimes): boolean {
  if (a.lastHeardAt === null || b.lastHeardAt === null) return false;
  return Math.abs(a.lastHeardAt - b.lastHeardAt) <= Math.max(togetherWithin, a.reportEvery, b.reportEvery);
}

/** Each near to the one before it, by when they were last heard. */
function largestGroup(feeders: readonly GroupedFeeder[]): readonly GroupedFeeder[] {
  const groups: GroupedFeeder[][] = [];
  for (const feeder of [...feeders].sort((a, b) => (a.lastHeardAt ?? 0) - (b.lastHeardAt ?? 0))) {
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
  const sameEpisode = yard.call !== null && yard.call.acknowledgedBy === null;
  const word: AlarmEvent = {
    ...{ kind: "raised", fault: "feederSilent", priority: "urgent", at: now, ...words, sameEpisode },
  };
  const { escalation: call } = applyAlarmEvent(yard.call, word, ofYard(yard), circle, now);
  if (call === null) throw new TypeError("expected a call from a raise, got none");
  return call;
}

function addFeeders(group: Group, call: Escalation, joining: readonly GroupedFeeder[], circle: Recipients): Group {
  // What somebody has acknowledged alone is asked anew: that others are silent too makes it another matter.
  const open = joining.flatMap((feeder) => (feeder.call?.acknowledgedBy === null ? [feeder.call] : []));
  const silent = [...call.silentFeeders, ...joining.flatMap(silentFeederOf)];
  const whole = { ...mergeProgress(call, open), silentFeeders: silent };
  const joined = joining.reduce((next, { id }) => withOwn(next, id, null), group);
  const title = silentYardNews(group.yard.name, silent, inServiceCount(group.yard), circle.zone).title;
  const closed = joining.flatMap(({ name, call: own }) =>
    own === null ? [] : closingNotifications(own, own.recipientStates, groupedNews(name, title), circle),
  );
  const tellings = [...group.tellings, ...closed];
  return updateYardText({ ...joined, yard: { ...joined.yard, call: whole }, tellings }, circle);
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
    byPerson.set(one.person, other ? merged(other, one) : one);
  }
  return [...byPerson.values()];
}

const merged = (a: RecipientState, b: RecipientState): RecipientState => ({
  person: a.person,
  timesNotified: Math.max(a.timesNotified, b.timesNotified),
  firstNotifiedAt: earlier(a.firstNotifiedAt, b.firstNotifiedAt),
  lastNotifiedAt: later(a.lastNotifiedAt, b.lastNotifiedAt),
  reminderCountedFrom: later(a.reminderCountedFrom, b.reminderCountedFrom),
  pushedAt: latest(a.pushedAt, b.pushedAt),
  displayedAt: latest(a.displayedAt, b.displayedAt),
  emailedAt: latest(a.emailedAt, b.emailedAt),
  ...mergeLosses(a, b),
  awaitsEndNews: false,
});

/** Lost only where neither of the two can have reached them. */
function mergeLosses(a: RecipientState, b: RecipientState): Pick<RecipientState, "pushLostAt" | "emailLostAt"> {
  const lost = (sent: "pushedAt" | "mailedAt", mark: "pushLostAt" | "mailLostAt"): Instant | null => {
    const marks = [a, b].filter((one) => one[sent] !== null).map((one) => one[mark] ?? null);
    return marks.includes(null) ? null : marks.reduce(latest, null);
  };
  return { pushLostAt: lost("pushedAt", "pushLostAt"), emailLostAt: lost("mailedAt", "mailLostAt") };
}

const latest = (a: Instant | null, b: Instant | null): Instant | null =>
  a === null ? b : b === null ? a : later(a, b);

function silentFeederOf({ id, name, lastHeardAt, call }: GroupedFeeder): SilentFeeder[] {
  if (call === null || lastHeardAt === null) return [];
  const { topic, raisedAt, title, body } = call;
  return [{ feeder: id, name, topic, lastReportAt: lastHeardAt, raisedAt, title, body }];
}

const inServiceCount = ({ feeders }: GroupedYard): number => feeders.filter(({ inService }) => inService).length;

/** Says anew how many are silent; who has been told sees it without a sound. */
function updateYardText(group: Group, circle: Recipients): Group {
  const { yard } = group;
  if (yard.call === null) return group;
  const words: EscalationNews = silentYardNews(yard.name, yard.call.silentFeeders, inServiceCount(yard), circle.zone);
  const call = { ...yard.call, title: words.title, body: words.body };
  return { ...group, yard: { ...yard, call }, newWords: [...group.newWords, call.topic] };
}

/** A first silence waits only while another of the yard is late too, and may be known for silent before the wait is over. */
function releaseHeld(group: Group, now: Instant): Group {
  const held = group.yard.feeders.filter(({ call }) => isActive(call) && call.holdUntil !== null);
  return held.reduce((next, feeder) => {
    const { call } = feeder;
    if (call === null || call.holdUntil === null) return next;
    const { holdUntil } = call;
    const waits = group.yard.feeders.some((other) => {
      const { id, inService, silentFrom, call: own } = other;
      if (id === feeder.id || !inService || isActive(own) || silentFrom === null) return false;
      return isOverdue(other, now) && silentFrom <= holdUntil && areTogether(feeder, other);
    });
    return waits ? next : withOwn(next, feeder.id, { ...call, holdUntil: null });
  }, group);
}

const isOverdue = ({ lastHeardAt, reportEvery }: GroupedFeeder, now: Instant): boolean =>
  lastHeardAt !== null && lastHeardAt < before(now, (overdueFactor * reportEvery) as Span);
