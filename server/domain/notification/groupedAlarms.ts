import type { FaultKind } from "../faults.ts";
import type { Instant } from "../instant.ts";
import { advanceEscalation, isActive } from "./advanceEscalation.ts";
import { type FeederEventInGroup, type Group, type GroupedYard, topicOfFeeder, yardTopic } from "./alarmGroup.ts";
import type { AlarmEvent, Escalation, OutgoingNotification, Recipients } from "./escalation.ts";
import { handleIceEvent, nextCheckFrom, regroupIce } from "./groupedIce.ts";
import { handleSilenceEvent, regroupSilence } from "./groupedSilence.ts";
import { correctionNotifications } from "./handleAlarmEvent.ts";

/**
 * Several feeders of a yard with one cause get one call. All words of such a fault are heard here, and all its calls are looked
 * at here when one of them comes due; every other fault takes the way of `hear` and `advanceCall`.
 */

/** How the alarms of one fault are grouped. */
interface GroupRule {
  /** What one feeder's word changes. */
  readonly handleEvent: (group: Group, said: FeederEventInGroup, circle: Recipients, now: Instant) => Group;
  /** What follows from how all of them stand now. */
  readonly regroup: (group: Group, circle: Recipients, now: Instant) => Group;
}

const groupRules: { readonly [fault in FaultKind]?: GroupRule } = {
  // Its cause is most likely the yard's power or network, so the yard has a call of its own.
  feederSilent: { handleEvent: handleSilenceEvent, regroup: regroupSilence },
  // Each has to be visited all the same, so the first one's call speaks for the others.
  iceLock: { handleEvent: handleIceEvent, regroup: regroupIce },
};

export const isGrouped = (fault: FaultKind): boolean => groupRules[fault] !== undefined;

/** All calls of this fault in the yard as they are to be stored now (null: removed), and whom to tell. */
export interface GroupStep {
  readonly escalations: readonly StoredEscalation[];
  readonly notifications: readonly OutgoingNotification[];
}

interface StoredEscalation {
  readonly topic: string;
  readonly escalation: Escalation | null;
  readonly nextAt: Instant | null;
}

/** @throws RangeError where the word is of a feeder that the yard doesn't have, or of a fault that isn't grouped. */
export function handleGroupedEvent(
  yard: GroupedYard,
  said: { readonly feeder: string; readonly word: AlarmEvent },
  circle: Recipients,
  now: Instant,
): GroupStep {
  const feeder = yard.feeders.find(({ id }) => id === said.feeder);
  if (feeder === undefined) throw new RangeError(`expected a feeder of yard ${yard.id}, got ${said.feeder}`);
  const rule = groupRuleOf(yard);
  const heard = rule.handleEvent(initialGroup(yard), { feeder, event: said.word }, circle, now);
  return advanceAll(yard, rule.regroup(heard, circle, now), circle, now);
}

/** Time has come to one of them. */
export const advanceGrouped = (yard: GroupedYard, circle: Recipients, now: Instant): GroupStep =>
  advanceAll(yard, groupRuleOf(yard).regroup(initialGroup(yard), circle, now), circle, now);

function groupRuleOf({ fault }: GroupedYard): GroupRule {
  const rule = groupRules[fault];
  if (rule === undefined) throw new RangeError(`expected a fault that is grouped, got ${fault}`);
  return rule;
}

const initialGroup = (yard: GroupedYard): Group => ({ yard, notifications: [], changedTopics: [] });

function advanceAll(stored: GroupedYard, group: Group, circle: Recipients, now: Instant): GroupStep {
  const { yard } = group;
  const before = new Map(stored.feeders.map(({ id, escalation }) => [id, escalation]));
  const all = [
    { topic: yardTopic(yard.id, yard.fault), was: stored.escalation, call: yard.escalation },
    ...yard.feeders.map(({ id, escalation }) => ({
      topic: topicOfFeeder(yard, id),
      was: before.get(id) ?? null,
      call: escalation,
    })),
  ];
  const calls: StoredEscalation[] = [];
  const tellings: OutgoingNotification[] = [...group.notifications];
  for (const { topic, was, call } of all) {
    if (call === null) {
      if (was !== null) calls.push({ topic, escalation: call, nextAt: null });
    } else if (isActive(call) && call.groupedUnder !== null) {
      calls.push({ topic, escalation: call, nextAt: nextCheckFrom(now) });
    } else {
      const step = advanceEscalation(call, circle, now);
      tellings.push(...step.notifications);
      if (group.changedTopics.includes(topic)) tellings.push(...correctionNotifications(step, circle));
      calls.push({ topic, escalation: step.escalation, nextAt: step.nextAt });
    }
  }
  return { escalations: calls, notifications: tellings };
}
