import type { FaultKind } from "../faults.ts";
import type { Instant } from "../instant.ts";
import { advanceEscalation, isActive } from "../notification/advanceEscalation.ts";
import type { AlarmEvent, Escalation, OutgoingNotification, Recipients } from "../notification/escalation.ts";
import { correctionNotifications } from "../notification/handleAlarmEvent.ts";
import { type FeederWord, type Group, type GroupedYard, topicIn, yardTopic } from "./group.ts";
import { hearInNight, lookAgainFrom, settleNight } from "./nightGroup.ts";
import { hearInYard, settleYard } from "./yardGroup.ts";

/**
 * Several feeders of a yard with one cause get one call. All words of such a fault are heard here, and all its calls are looked
 * at here when one of them comes due; every other fault takes the way of `hear` and `advanceCall`.
 */

/** How the alarms of one fault are grouped. */
interface GroupRule {
  /** What one feeder's word changes. */
  readonly hear: (group: Group, said: FeederWord, circle: Recipients, now: Instant) => Group;
  /** What follows from how all of them stand now. */
  readonly settle: (group: Group, circle: Recipients, now: Instant) => Group;
}

const rules: { readonly [fault in FaultKind]?: GroupRule } = {
  // Its cause is most likely the yard's power or network, so the yard has a call of its own.
  feederSilent: { hear: hearInYard, settle: settleYard },
  // Each has to be visited all the same, so the first one's call speaks for the others.
  iceLock: { hear: hearInNight, settle: settleNight },
};

export const isGrouped = (fault: FaultKind): boolean => rules[fault] !== undefined;

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
export function hearGrouped(
  yard: GroupedYard,
  said: { readonly feeder: string; readonly word: AlarmEvent },
  circle: Recipients,
  now: Instant,
): GroupStep {
  const feeder = yard.feeders.find(({ id }) => id === said.feeder);
  if (feeder === undefined) throw new RangeError(`expected a feeder of yard ${yard.id}, got ${said.feeder}`);
  const rule = ruleOf(yard);
  const heard = rule.hear(begin(yard), { feeder, word: said.word }, circle, now);
  return advanced(yard, rule.settle(heard, circle, now), circle, now);
}

/** Time has come to one of them. */
export const advanceGrouped = (yard: GroupedYard, circle: Recipients, now: Instant): GroupStep =>
  advanced(yard, ruleOf(yard).settle(begin(yard), circle, now), circle, now);

function ruleOf({ fault }: GroupedYard): GroupRule {
  const rule = rules[fault];
  if (rule === undefined) throw new RangeError(`expected a fault that is grouped, got ${fault}`);
  return rule;
}

const begin = (yard: GroupedYard): Group => ({ yard, tellings: [], newWords: [] });

function advanced(stored: GroupedYard, group: Group, circle: Recipients, now: Instant): GroupStep {
  const { yard } = group;
  const before = new Map(stored.feeders.map(({ id, call }) => [id, call]));
  const all = [
    { topic: yardTopic(yard.id, yard.fault), was: stored.call, call: yard.call },
    ...yard.feeders.map(({ id, call }) => ({ topic: topicIn(yard, id), was: before.get(id) ?? null, call })),
  ];
  const calls: StoredEscalation[] = [];
  const tellings: OutgoingNotification[] = [...group.tellings];
  for (const { topic, was, call } of all) {
    if (call === null) {
      if (was !== null) calls.push({ topic, escalation: call, nextAt: null });
    } else if (isActive(call) && call.groupedUnder !== null) {
      calls.push({ topic, escalation: call, nextAt: lookAgainFrom(now) });
    } else {
      const step = advanceEscalation(call, circle, now);
      tellings.push(...step.notifications);
      if (group.newWords.includes(topic)) tellings.push(...correctionNotifications(step, circle));
      calls.push({ topic, escalation: step.escalation, nextAt: step.nextAt });
    }
  }
  return { escalations: calls, notifications: tellings };
}
