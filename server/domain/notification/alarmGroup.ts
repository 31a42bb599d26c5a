import { alarmTopic } from "../alarms/alarmTopic.ts";
import type { FaultKind } from "../faults.ts";
import type { Instant, Span } from "../instant.ts";
import type { AlarmEvent, AlarmSource, Escalation, OutgoingNotification, Recipients } from "./escalation.ts";
import { applyAlarmEvent } from "./handleAlarmEvent.ts";

/** A yard as far as the alarms of one fault are grouped in it. */
export interface GroupedYard {
  readonly id: string;
  readonly name: string;
  readonly fault: FaultKind;
  /** What is stored under `yardTopic`. */
  readonly escalation: Escalation | null;
  /** All of the yard, also those out of service. */
  readonly feeders: readonly GroupedFeeder[];
}

export interface GroupedFeeder {
  readonly id: string;
  readonly name: string; // as its titles begin
  readonly inService: boolean; // one that is put away or on the bench can't be missed
  readonly lastReportAt: Instant | null; // null: never heard
  readonly reportEvery: Span;
  /** From when its silence is a fault; null where it was never heard. */
  readonly silentFrom: Instant | null;
  /** What is stored under its topic. */
  readonly escalation: Escalation | null;
}

/** The yard's calls of one fault while one step is made, and what has come of it so far. */
export interface Group {
  readonly yard: GroupedYard;
  readonly notifications: readonly OutgoingNotification[];
  /** Topics whose screens must be set right without a sound. */
  readonly changedTopics: readonly string[];
}

/** What an alarm of one feeder said. */
export interface FeederEventInGroup {
  readonly feeder: GroupedFeeder;
  readonly event: AlarmEvent;
}

/** Under it a yard's own call is stored; no feeder's id makes the same. */
export const yardTopic = (yard: string, fault: FaultKind): string => alarmTopic(`yard ${yard}`, fault);

export const topicOfFeeder = ({ fault }: GroupedYard, feeder: string): string => alarmTopic(feeder, fault);

export function withFeederEscalation(group: Group, id: string, call: Escalation | null): Group {
  const feeders = group.yard.feeders.map((feeder) => (feeder.id === id ? { ...feeder, escalation: call } : feeder));
  return { ...group, yard: { ...group.yard, feeders } };
}

export const withChangedTopic = (group: Group, topic: string): Group => ({
  ...group,
  changedTopics: [...group.changedTopics, topic],
});

/** What a word does to the feeder's own call. */
export function applyToOwnEscalation(
  group: Group,
  { feeder: { id, name, escalation }, event }: FeederEventInGroup,
  circle: Recipients,
  now: Instant,
): Group {
  const { yard } = group;
  const of: AlarmSource = { yard: yard.id, feeder: id, topic: topicOfFeeder(yard, id), name };
  const heard = applyAlarmEvent(escalation, event, of, circle, now);
  const next = {
    ...withFeederEscalation(group, id, heard.escalation),
    notifications: [...group.notifications, ...heard.notifications],
  };
  return heard.isTextChanged ? withChangedTopic(next, of.topic) : next;
}
