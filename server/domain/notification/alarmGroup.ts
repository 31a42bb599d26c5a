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
  readonly inService: boolean; // in the workshop or in storage its missing reports don't matter
  readonly lastReportAt: Instant | null; // null: no report yet
  readonly reportEvery: Span;
  /** From when missing reports are a fault; null where it has never reported. */
  readonly silentFrom: Instant | null;
  /** What is stored under its topic. */
  readonly escalation: Escalation | null;
}

/** The yard's escalations of one fault during one step, and the results so far. */
export interface Group {
  readonly yard: GroupedYard;
  readonly notifications: readonly OutgoingNotification[];
  /** Topics whose text on the screens must be corrected without a sound. */
  readonly changedTopics: readonly string[];
}

/** An event of one feeder's alarm. */
export interface FeederEventInGroup {
  readonly feeder: GroupedFeeder;
  readonly event: AlarmEvent;
}

/** The topic of a yard's own escalation; no feeder's id gives the same. */
export const yardTopic = (yard: string, fault: FaultKind): string => alarmTopic(`yard ${yard}`, fault);

export const topicOfFeeder = ({ fault }: GroupedYard, feeder: string): string => alarmTopic(feeder, fault);

export function withFeederEscalation(group: Group, id: string, escalation: Escalation | null): Group {
  const feeders = group.yard.feeders.map((feeder) => (feeder.id === id ? { ...feeder, escalation } : feeder));
  return { ...group, yard: { ...group.yard, feeders } };
}

export const withChangedTopic = (group: Group, topic: string): Group => ({
  ...group,
  changedTopics: [...group.changedTopics, topic],
});

/** The group after the event was applied to the feeder's own escalation. */
export function applyToOwnEscalation(
  group: Group,
  { feeder: { id, name, escalation }, event }: FeederEventInGroup,
  recipients: Recipients,
  now: Instant,
): Group {
  const { yard } = group;
  const of: AlarmSource = { yard: yard.id, feeder: id, topic: topicOfFeeder(yard, id), name };
  const outcome = applyAlarmEvent(escalation, event, of, recipients, now);
  const next = {
    ...withFeederEscalation(group, id, outcome.escalation),
    notifications: [...group.notifications, ...outcome.notifications],
  };
  return outcome.isTextChanged ? withChangedTopic(next, of.topic) : next;
}
