import type { FaultKind } from "../faults.ts";
import type { Instant } from "../instant.ts";
import { advanceEscalation, isActive } from "./advanceEscalation.ts";
import { type FeederEventInGroup, type Group, type GroupedYard, topicOfFeeder, yardTopic } from "./alarmGroup.ts";
import type { AlarmEvent, Escalation, OutgoingNotification, Recipients } from "./escalation.ts";
import { handleIceEvent, nextCheckFrom, regroupIce } from "./groupedIce.ts";
import { handleSilenceEvent, regroupSilence } from "./groupedSilence.ts";
import { correctionNotifications } from "./handleAlarmEvent.ts";

/**
 * Several feeders of a yard with one cause get one escalation. All events of such a fault are handled here, and all its escalations
 * are advanced here when one of them is due; every other fault uses `handleAlarmEvent` and `advanceEscalation`.
 */

/** How the alarms of one fault are grouped. */
interface GroupRule {
  /** The group after one feeder's event. */
  readonly handleEvent: (group: Group, feederEvent: FeederEventInGroup, recipients: Recipients, now: Instant) => Group;
  /** The group as it follows from the present state of all of them. */
  readonly regroup: (group: Group, recipients: Recipients, now: Instant) => Group;
}

const groupRules: { readonly [fault in FaultKind]?: GroupRule } = {
  // The likely cause is the yard's power or network, so the yard has an escalation of its own.
  feederSilent: { handleEvent: handleSilenceEvent, regroup: regroupSilence },
  // Each feeder has to be visited, so the first one's escalation covers the others.
  iceLock: { handleEvent: handleIceEvent, regroup: regroupIce },
};

export const isGrouped = (fault: FaultKind): boolean => groupRules[fault] !== undefined;

/** All escalations of this fault in the yard as they are to be stored now (null: removed), and whom to notify. */
export interface GroupStep {
  readonly escalations: readonly StoredEscalation[];
  readonly notifications: readonly OutgoingNotification[];
}

interface StoredEscalation {
  readonly topic: string;
  readonly escalation: Escalation | null;
  readonly nextAt: Instant | null;
}

/** @throws RangeError for a feeder that the yard doesn't have, or a fault that isn't grouped. */
export function handleGroupedEvent(
  yard: GroupedYard,
  { feeder: id, event }: { readonly feeder: string; readonly event: AlarmEvent },
  recipients: Recipients,
  now: Instant,
): GroupStep {
  const feeder = yard.feeders.find((one) => one.id === id);
  if (feeder === undefined) throw new RangeError(`expected a feeder of yard ${yard.id}, got ${id}`);
  const rule = groupRuleOf(yard);
  const next = rule.handleEvent(initialGroup(yard), { feeder, event }, recipients, now);
  return advanceAll(yard, rule.regroup(next, recipients, now), recipients, now);
}

/** One of the escalations is due. */
export const advanceGrouped = (yard: GroupedYard, recipients: Recipients, now: Instant): GroupStep =>
  advanceAll(yard, groupRuleOf(yard).regroup(initialGroup(yard), recipients, now), recipients, now);

function groupRuleOf({ fault }: GroupedYard): GroupRule {
  const rule = groupRules[fault];
  if (rule === undefined) throw new RangeError(`expected a fault that is grouped, got ${fault}`);
  return rule;
}

const initialGroup = (yard: GroupedYard): Group => ({ yard, notifications: [], changedTopics: [] });

function advanceAll(stored: GroupedYard, group: Group, recipients: Recipients, now: Instant): GroupStep {
  const { yard } = group;
  const before = new Map(stored.feeders.map(({ id, escalation }) => [id, escalation]));
  const all = [
    { topic: yardTopic(yard.id, yard.fault), was: stored.escalation, escalation: yard.escalation },
    ...yard.feeders.map(({ id, escalation }) => ({
      topic: topicOfFeeder(yard, id),
      was: before.get(id) ?? null,
      escalation,
    })),
  ];
  const escalations: StoredEscalation[] = [];
  const notifications: OutgoingNotification[] = [...group.notifications];
  for (const { topic, was, escalation } of all) {
    if (escalation === null) {
      if (was !== null) escalations.push({ topic, escalation, nextAt: null });
    } else if (isActive(escalation) && escalation.groupedUnder !== null) {
      escalations.push({ topic, escalation, nextAt: nextCheckFrom(now) });
    } else {
      const step = advanceEscalation(escalation, recipients, now);
      notifications.push(...step.notifications);
      if (group.changedTopics.includes(topic)) notifications.push(...correctionNotifications(step, recipients));
      escalations.push({ topic, escalation: step.escalation, nextAt: step.nextAt });
    }
  }
  return { escalations: escalations, notifications };
}
