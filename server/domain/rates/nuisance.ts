import type { FaultKind } from "../faults.ts";
import { between, type Instant } from "../instant.ts";
import { chatterRule, fleetingWithin, staleRule } from "./ceilings.ts";
import { type Coming, keyOf, type Raising } from "./history.ts";

/** Alarms that come and go, and alarms that never go: both teach a keeper to look away. */

export interface Chatter {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly most: number; // comings within a minute, at worst
  readonly at: Instant; // when its first such minute was full
}

/** Which alarms' faults came three times within a minute, by raw transitions, the worst first. */
export function chatteringOf(comings: readonly Coming[]): Chatter[] {
  const recent = new Map<string, Coming[]>();
  const found = new Map<string, Chatter>();
  for (const coming of comings) {
    const key = keyOf(coming);
    const within = (recent.get(key) ?? []).filter(({ at }) => between(at, coming.at) <= chatterRule.within);
    within.push(coming);
    recent.set(key, within);
    if (within.length < chatterRule.comings) continue;
    const before = found.get(key) ?? { ...coming, most: 0 };
    found.set(key, { ...before, most: Math.max(before.most, within.length) });
  }
  return [...found.values()].sort((one, other) => other.most - one.most);
}

/**
 * Alarms whose fault was gone again before anybody could have seen to it. Judged by the fault and not by its alarm, which an
 * off-delay lets stand on.
 */
export const fleetingOf = (raisings: readonly Raising[]): readonly Raising[] =>
  raisings.filter(({ at, goneAt, endedAt, acknowledgedAt }) => {
    const gone = goneAt ?? endedAt;
    if (gone === null || between(at, gone) > fleetingWithin) return false;
    return acknowledgedAt === null || acknowledgedAt > gone;
  });

/** Alarms that have stood for more than a day now, the longest first. What was set aside doesn't stand. */
export const staleOf = (raisings: readonly Raising[], to: Instant): readonly Raising[] =>
  raisings.filter(({ at, endedAt }) => endedAt === null && between(at, to) > staleRule.after);
