import { alarmTopic } from "../alarms/alarmTopic.ts";
import type { FaultKind } from "../faults.ts";
import type { Instant, Span } from "../instant.ts";
import type {
  AlarmEvent,
  AlarmSource,
  Escalation,
  OutgoingNotification,
  Recipients,
} from "../notification/escalation.ts";
import { applyAlarmEvent } from "../notification/handleAlarmEvent.ts";

/** A yard as far as the alarms of one fault are grouped in it. */
export interface GroupedYard {
  readonly id: string;
  readonly name: string;
  readonly fault: FaultKind;
  /** What is stored under `yardTopic`. */
  readonly call: Escalation | null;
  /** All of the yard, also those out of service. */
  readonly feeders: readonly GroupedFeeder[];
}

export interface GroupedFeeder {
  readonly id: string;
  readonly name: string; // as its titles begin
  readonly inService: boolean; // one that is put away or on the bench can't be missed
  readonly lastHeardAt: Instant | null; // null: never heard
  readonly reportEvery: Span;
  /** From when its silence is a fault; null where it was never heard. */
  readonly silentFrom: Instant | null;
  /** What is stored under its topic. */
  readonly call: Escalation | null;
}

/** The yard's calls of one fault while one step is made, and what has come of it so far. */
export interface Group {
  readonly yard: GroupedYard;
  readonly tellings: readonly OutgoingNotification[];
  /** Topics whose screens must be set right without a sound. */
  readonly newWords: readonly string[];
}

/** What an alarm of one feeder said. */
export interface FeederWord {
  readonly feeder: GroupedFeeder;
  readonly word: AlarmEvent;
}

/** Under it a yard's own call is stored; no feeder's id makes the same. */
export const yardTopic = (yard: string, fault: FaultKind): string => alarmTopic(`yard ${yard}`, fault);

export const topicIn = ({ fault }: GroupedYard, feeder: string): string => alarmTopic(feeder, fault);

export function withOwn(group: Group, id: string, call: Escalation | null): Group {
  const feeders = group.yard.feeders.map((feeder) => (feeder.id === id ? { ...feeder, call } : feeder));
  return { ...group, yard: { ...group.yard, feeders } };
}

export const withNewWords = (group: Group, topic: string): Group => ({
  ...group,
  newWords: [...group.newWords, topic],
});

/** What a word does to the feeder's own call. */
export function hearAlone(
  group: Group,
  { feeder: { id, name, call }, word }: FeederWord,
  circle: Recipients,
  now: Instant,
): Group {
  const { yard } = group;
  const of: AlarmSource = { yard: yard.id, feeder: id, topic: topicIn(yard, id), name };
  const heard = applyAlarmEvent(call, word, of, circle, now);
  const next = { ...withOwn(group, id, heard.escalation), tellings: [...group.tellings, ...heard.notifications] };
  return heard.isTextChanged ? withNewWords(next, of.topic) : next;
}
