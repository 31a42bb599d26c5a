import { topicOf } from "../alarms/notices.ts";
import { after, before, earlier, type Instant, later, minutes, type Span } from "../instant.ts";
import { advanceCall, isStanding } from "./advanceCall.ts";
import type { Call, CalledOf, CallNews, CallWord, Circle, SilentFeeder, Telling, ToldPerson } from "./call.ts";
import { closings, corrections, heardWord } from "./hear.ts";
import { allHeardAgain, onlyOneLeft, silentWithOthers, yardWords } from "./yardWords.ts";

/**
 * Feeders of one yard that fall silent together have one cause, most likely its power or its network, and get one call.
 *
 * All `feederSilent` words of a yard are heard here, and all its `feederSilent` calls are looked at here when one comes due;
 * every other fault takes the way of `hear` and `advanceCall`.
 */
export interface WatchedYard {
  readonly id: string;
  readonly name: string;
  /** What is stored under `yardTopic`. */
  readonly call: Call | null;
  /** All of the yard, also those out of service. */
  readonly feeders: readonly WatchedFeeder[];
}

export interface WatchedFeeder {
  readonly id: string;
  readonly name: string; // as its titles begin
  readonly inService: boolean; // one that is put away or on the bench can't be missed
  readonly lastHeardAt: Instant | null; // null: never heard
  readonly reportEvery: Span;
  /** From when its silence is a fault; null where it was never heard. */
  readonly silentFrom: Instant | null;
  /** What is stored under the topic of its `feederSilent`. */
  readonly call: Call | null;
}

/** What a feeder's `feederSilent` alarm said. */
export interface SilenceWord {
  readonly feeder: string;
  readonly word: CallWord;
}

/** All `feederSilent` calls of the yard as they are to be stored now (null: removed), and whom to tell. */
export interface YardStep {
  readonly calls: readonly StoredCall[];
  readonly tellings: readonly Telling[];
}

export interface StoredCall {
  readonly topic: string;
  readonly feeder: string | null;
  readonly call: Call | null;
  readonly nextAt: Instant | null;
}

/** Under it a yard's own call is stored; no feeder's id makes the same. */
export const yardTopic = (yard: string): string => topicOf(`yard ${yard}`, "feederSilent");

/** @throws RangeError where the word is of a feeder that the yard doesn't have. */
export function hearSilence(yard: WatchedYard, said: SilenceWord, circle: Circle, now: Instant): YardStep {
  const feeder = yard.feeders.find(({ id }) => id === said.feeder);
  if (!feeder) throw new RangeError(`expected a feeder of yard ${yard.id}, got ${said.feeder}`);
  return settled(yard, spoken(begin(yard), feeder, said.word, circle, now), circle, now);
}

export function advanceYardSilence(yard: WatchedYard, circle: Circle, now: Instant): YardStep {
  return settled(yard, begin(yard), circle, now);
}

/**
 * Last heard this near to each other, feeders fell silent together: common practice, no source. When they were last heard
 * is compared, not when that became an alarm: how long a silence must grow for that differs from line to line.
 */
const togetherWithin = minutes(15);

/** How long the first one's alarm waits for a second that is late too, so that one word can speak of both. */
const heldAtMost = minutes(2);

/** As in silence/feederSilence.ts: half an interval past its time a report is nearer to lost than to late by chance. */
const overdueFrom = 1.5;

interface Scene {
  readonly yard: WatchedYard;
  readonly tellings: readonly Telling[];
  /** Topics whose screens must be set right without a sound. */
  readonly newWords: readonly string[];
}

const begin = (yard: WatchedYard): Scene => ({ yard, tellings: [], newWords: [] });

function settled(stored: WatchedYard, scene: Scene, circle: Circle, now: Instant): YardStep {
  const away = new Set(stored.feeders.filter(({ inService }) => !inService).map(({ id }) => id));
  const gone = new Set(
    partsOf(scene.yard).filter((id) => away.has(id) || !stored.feeders.some((one) => one.id === id)),
  );
  const setAside: CallWord = {
    ...{ kind: "setAside", fault: "feederSilent", at: now, words: "Its feeders are out of service." },
  };
  const thinned = without(scene, gone, setAside, circle, now);
  return advanced(stored, released(gathered(thinned, circle, now), now), circle, now);
}

const partsOf = ({ call }: WatchedYard): string[] => (isStanding(call) ? call.silent.map(({ feeder }) => feeder) : []);

function spoken(scene: Scene, feeder: WatchedFeeder, word: CallWord, circle: Circle, now: Instant): Scene {
  const { yard } = scene;
  if (!partsOf(yard).includes(feeder.id)) return spokenOfItself(scene, feeder, word, circle, now);
  switch (word.kind) {
    case "raised":
    case "worsened": // the yard's call says it, and nothing is graver than urgent
      return scene;
    case "acknowledged": // whoever has seen that one is silent has seen why
      return heardOfYard(scene, word, circle, now);
    case "returned":
    case "setAside":
      return without(scene, new Set([feeder.id]), word, circle, now);
  }
}

function spokenOfItself(scene: Scene, feeder: WatchedFeeder, word: CallWord, circle: Circle, now: Instant): Scene {
  const { yard } = scene;
  const known = word.kind === "raised" && word.sameEpisode ? lastKnown(yard, feeder, word) : feeder.call;
  const heard = heardWord(known, word, ofFeeder(yard, feeder), circle, now);
  const isNew = heard.call !== null && heard.call.turn === 0 && heard.call !== feeder.call && isStanding(heard.call);
  const held = isNew ? { ...heard.call, holdUntil: after(now, heldAtMost) } : heard.call;
  const next = withOwn(scene, feeder.id, held);
  return {
    yard: next.yard,
    tellings: [...scene.tellings, ...heard.tellings],
    newWords: heard.newWords ? [...scene.newWords, topicOf(feeder.id, "feederSilent")] : scene.newWords,
  };
}

/** Back within the hour after it was told as one with others: whoever heard that needn't be rung for this. */
function lastKnown({ call }: WatchedYard, feeder: WatchedFeeder, { at, title, body }: Asked): Call | null {
  if (feeder.call !== null || call === null || isStanding(call)) return feeder.call;
  const part = { feeder: feeder.id, name: feeder.name, topic: topicOf(feeder.id, "feederSilent"), raisedAt: at };
  return ownAgain(call, { ...part, lastHeardAt: feeder.lastHeardAt ?? at, title, body });
}
type Asked = Extract<CallWord, { kind: "raised" }>;

const ofFeeder = (yard: WatchedYard, { id, name }: WatchedFeeder): CalledOf => ({
  yard: yard.id,
  feeder: id,
  topic: topicOf(id, "feederSilent"),
  name,
});

const ofYard = ({ id, name }: WatchedYard): CalledOf => ({ yard: id, feeder: null, topic: yardTopic(id), name });

function heardOfYard(scene: Scene, word: CallWord, circle: Circle, now: Instant): Scene {
  const { call, tellings } = heardWord(scene.yard.call, word, ofYard(scene.yard), circle, now);
  return { ...scene, yard: { ...scene.yard, call }, tellings: [...scene.tellings, ...tellings] };
}

/** These are heard again, or nothing is asked of them any more. Where one alone is left it becomes its own call. */
function without(scene: Scene, gone: ReadonlySet<string>, word: CallWord, circle: Circle, now: Instant): Scene {
  const { yard } = scene;
  const { call } = yard;
  if (!isStanding(call) || gone.size === 0) return scene;
  const left = call.silent.filter((one) => !gone.has(one.feeder));
  const [one] = left;
  if (one === undefined) {
    const good = word.kind === "returned" ? { ...word, ...allHeardAgain(yard.name) } : word;
    const over = heardOfYard(scene, good, circle, now);
    return { ...over, yard: { ...over.yard, call: over.yard.call && { ...over.yard.call, silent: [] } } };
  }
  if (left.length > 1) return worded({ ...scene, yard: { ...yard, call: { ...call, silent: left } } }, circle);
  const closed = closings(call, call.told, onlyOneLeft(yard.name, one), circle);
  // Remembered for a while: one that falls silent again within the hour was spoken of, and needn't ring.
  const told = call.told.map((person) => ({ ...person, owedNews: false }));
  const over: Call = { ...call, told, silent: [], overAt: now, news: null };
  const next = withOwn({ ...scene, yard: { ...yard, call: over } }, one.feeder, ownAgain(call, one));
  return {
    ...next,
    tellings: [...scene.tellings, ...closed],
    newWords: call.acknowledgedBy === null ? [...scene.newWords, one.topic] : scene.newWords,
  };
}

/** The yard's call becomes one feeder's: who knew of that one knows of this one, and nobody is rung a second time. */
const ownAgain = (call: Call, { feeder, name, topic, raisedAt, title, body }: SilentFeeder): Call => ({
  ...call,
  ...{ feeder, name, topic, raisedAt, title, body },
  silent: [],
});

/** Those that fell silent together are told as one: a standing call of the yard takes them in, two alone make one. */
function gathered(scene: Scene, circle: Circle, now: Instant): Scene {
  const { yard } = scene;
  const alone = yard.feeders.filter(({ inService, call }) => inService && isStanding(call));
  if (isStanding(yard.call)) {
    const { silent } = yard.call;
    const nearOne = alone.filter((feeder) => silent.some((part) => areTogether(feeder, partOf(yard, part))));
    return nearOne.length === 0 ? scene : takenIn(scene, yard.call, nearOne, circle);
  }
  const together = largestGroup(alone);
  return together.length < 2 ? scene : takenIn(scene, newYardCall(yard, together, circle, now), together, circle);
}

/** As it was when it joined: it may have been put away since, or be heard at this very moment. */
const partOf = (yard: WatchedYard, { feeder, lastHeardAt }: SilentFeeder): LastHeard => ({
  lastHeardAt,
  reportEvery: yard.feeders.find(({ id }) => id === feeder)?.reportEvery ?? togetherWithin,
});

type LastHeard = Pick<WatchedFeeder, "lastHeardAt" | "reportEvery">;

/** A feeder that reports each half hour may have lost its power half an hour after it was last heard. */
function areTogether(a: LastHeard, b: LastHeard): boolean {
  if (a.lastHeardAt === null || b.lastHeardAt === null) return false;
  return Math.abs(a.lastHeardAt - b.lastHeardAt) <= Math.max(togetherWithin, a.reportEvery, b.reportEvery);
}

/** Each near to the one before it, by when they were last heard. */
function largestGroup(feeders: readonly WatchedFeeder[]): readonly WatchedFeeder[] {
  const groups: WatchedFeeder[][] = [];
  for (const feeder of [...feeders].sort((a, b) => (a.lastHeardAt ?? 0) - (b.lastHeardAt ?? 0))) {
    const last = groups.at(-1);
    const previous = last?.at(-1);
    if (last && previous && areTogether(previous, feeder)) last.push(feeder);
    else groups.push([feeder]);
  }
  return groups.reduce((largest, group) => (group.length > largest.length ? group : largest), []);
}

/** Within the hour after the yard's last one, unacknowledged, it is the same episode; else it is new. */
function newYardCall(yard: WatchedYard, together: readonly WatchedFeeder[], circle: Circle, now: Instant): Call {
  const words = yardWords(yard.name, together.flatMap(asPart), inServiceOf(yard), circle.zone);
  const sameEpisode = yard.call !== null && yard.call.acknowledgedBy === null;
  const word: CallWord = {
    ...{ kind: "raised", fault: "feederSilent", priority: "urgent", at: now, ...words, sameEpisode },
  };
  const { call } = heardWord(yard.call, word, ofYard(yard), circle, now);
  if (call === null) throw new TypeError("expected a call from a raise, got none");
  return call;
}

function takenIn(scene: Scene, call: Call, joining: readonly WatchedFeeder[], circle: Circle): Scene {
  // What somebody has acknowledged alone is asked anew: that others are silent too makes it another matter.
  const open = joining.flatMap((feeder) => (feeder.call?.acknowledgedBy === null ? [feeder.call] : []));
  const silent = [...call.silent, ...joining.flatMap(asPart)];
  const whole = { ...asFarAs(call, open), silent };
  const joined = joining.reduce((next, { id }) => withOwn(next, id, null), scene);
  const title = yardWords(scene.yard.name, silent, inServiceOf(scene.yard), circle.zone).title;
  const closed = joining.flatMap(({ name, call: own }) =>
    own === null ? [] : closings(own, own.told, silentWithOthers(name, title), circle),
  );
  const tellings = [...scene.tellings, ...closed];
  return worded({ ...joined, yard: { ...joined.yard, call: whole }, tellings }, circle);
}

/** Whoever was rung for one of them isn't rung for all; the turns go on from where the farthest is. */
function asFarAs(call: Call, open: readonly Call[]): Call {
  const calls = [call, ...open];
  const turn = Math.max(...calls.map((one) => one.turn));
  return {
    ...call,
    told: mergedTold(calls.flatMap((one) => one.told)),
    turn,
    turnAt: calls
      .filter((one) => one.turn === turn)
      .map((one) => one.turnAt)
      .reduce(earlierOf),
    freshAt: calls
      .filter((one) => one.turn > 0)
      .map((one) => one.freshAt)
      .reduce(earlierOf, call.freshAt),
  };
}

const earlierOf = (a: Instant, b: Instant): Instant => earlier(a, b);

function mergedTold(told: readonly ToldPerson[]): readonly ToldPerson[] {
  const byPerson = new Map<string, ToldPerson>();
  for (const one of told) {
    const other = byPerson.get(one.person);
    byPerson.set(one.person, other ? merged(other, one) : one);
  }
  return [...byPerson.values()];
}

const merged = (a: ToldPerson, b: ToldPerson): ToldPerson => ({
  person: a.person,
  times: Math.max(a.times, b.times),
  firstAt: earlier(a.firstAt, b.firstAt),
  lastAt: later(a.lastAt, b.lastAt),
  gapFrom: later(a.gapFrom, b.gapFrom),
  pushedAt: latest(a.pushedAt, b.pushedAt),
  shownAt: latest(a.shownAt, b.shownAt),
  mailedAt: latest(a.mailedAt, b.mailedAt),
  ...lostTogether(a, b),
  owedNews: false,
});

/** Lost only where neither of the two can have reached them. */
function lostTogether(a: ToldPerson, b: ToldPerson): Pick<ToldPerson, "pushLostAt" | "mailLostAt"> {
  const lost = (sent: "pushedAt" | "mailedAt", mark: "pushLostAt" | "mailLostAt"): Instant | null => {
    const marks = [a, b].filter((one) => one[sent] !== null).map((one) => one[mark] ?? null);
    return marks.includes(null) ? null : marks.reduce(latest, null);
  };
  return { pushLostAt: lost("pushedAt", "pushLostAt"), mailLostAt: lost("mailedAt", "mailLostAt") };
}

const latest = (a: Instant | null, b: Instant | null): Instant | null =>
  a === null ? b : b === null ? a : later(a, b);

function asPart({ id, name, lastHeardAt, call }: WatchedFeeder): SilentFeeder[] {
  if (call === null || lastHeardAt === null) return [];
  const { topic, raisedAt, title, body } = call;
  return [{ feeder: id, name, topic, lastHeardAt, raisedAt, title, body }];
}

const inServiceOf = ({ feeders }: WatchedYard): number => feeders.filter(({ inService }) => inService).length;

/** Says anew how many are silent; who has been told sees it without a sound. */
function worded(scene: Scene, circle: Circle): Scene {
  const { yard } = scene;
  if (yard.call === null) return scene;
  const words: CallNews = yardWords(yard.name, yard.call.silent, inServiceOf(yard), circle.zone);
  const call = { ...yard.call, title: words.title, body: words.body };
  return { ...scene, yard: { ...yard, call }, newWords: [...scene.newWords, call.topic] };
}

/** A first silence waits only while another of the yard is late too, and may be known for silent before the wait is over. */
function released(scene: Scene, now: Instant): Scene {
  const held = scene.yard.feeders.filter(({ call }) => isStanding(call) && call.holdUntil !== null);
  return held.reduce((next, feeder) => {
    const { call } = feeder;
    if (call === null || call.holdUntil === null) return next;
    const { holdUntil } = call;
    const waits = scene.yard.feeders.some((other) => {
      const { id, inService, silentFrom, call: own } = other;
      if (id === feeder.id || !inService || isStanding(own) || silentFrom === null) return false;
      return isOverdue(other, now) && silentFrom <= holdUntil && areTogether(feeder, other);
    });
    return waits ? next : withOwn(next, feeder.id, { ...call, holdUntil: null });
  }, scene);
}

const isOverdue = ({ lastHeardAt, reportEvery }: WatchedFeeder, now: Instant): boolean =>
  lastHeardAt !== null && lastHeardAt < before(now, (overdueFrom * reportEvery) as Span);

function advanced(stored: WatchedYard, scene: Scene, circle: Circle, now: Instant): YardStep {
  const { yard } = scene;
  const all = [
    { topic: yardTopic(yard.id), feeder: null, was: stored.call, call: yard.call },
    ...yard.feeders.map(({ id, call }) => ({
      topic: topicOf(id, "feederSilent"),
      feeder: id,
      was: stored.feeders.find((one) => one.id === id)?.call ?? null,
      call,
    })),
  ];
  const calls: StoredCall[] = [];
  const tellings: Telling[] = [...scene.tellings];
  for (const { topic, feeder, was, call } of all) {
    if (call === null) {
      if (was !== null) calls.push({ topic, feeder, call, nextAt: null });
      continue;
    }
    const step = advanceCall(call, circle, now);
    tellings.push(...step.tellings);
    if (scene.newWords.includes(topic)) tellings.push(...corrections(step, circle));
    calls.push({ topic, feeder, call: step.call, nextAt: step.nextAt });
  }
  return { calls, tellings };
}

function withOwn(scene: Scene, id: string, call: Call | null): Scene {
  const feeders = scene.yard.feeders.map((feeder) => (feeder.id === id ? { ...feeder, call } : feeder));
  return { ...scene, yard: { ...scene.yard, feeders } };
}
