import type { FaultKind } from "../faults.ts";
import { between, type Instant } from "../instant.ts";
import { chatterRule, fleetingWithin, staleRule } from "./ceilings.ts";
import { alarmKey, type FaultOnset, type RaisedAlarm } from "./history.ts";

/** Alarms that come and go, and alarms that never go: both teach a keeper to look away. */

export interface ChatteringAlarm {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly perMinuteMax: number; // comings within a minute, at worst
  readonly at: Instant; // when its first such minute was full
}

/** Which alarms' faults came three times within a minute, by raw transitions, the worst first. */
export function chatteringAlarms(comings: readonly FaultOnset[]): ChatteringAlarm[] {
  const recent = new Map<string, FaultOnset[]>();
  const found = new Map<string, ChatteringAlarm>();
  for (const coming of comings) {
    const key = alarmKey(coming);
    const within = (recent.get(key) ?? []).filter(({ at }) => between(at, coming.at) <= chatterRule.within);
    within.push(coming);
    recent.set(key, within);
    if (within.length < chatterRule.onsets) continue;
    const before = found.get(key) ?? { ...coming, perMinuteMax: 0 };
    found.set(key, { ...before, perMinuteMax: Math.max(before.perMinuteMax, within.length) });
  }
  return [...found.values()].sort((one, other) => other.perMinuteMax - one.perMinuteMax);
}

/**
 * Alarms whose fault was gone again before anybody could have seen to it. Judged by the fault and not by its alarm, which an
 * off-delay lets stand on.
 */
export const fleetingAlarms = (raisings: readonly RaisedAlarm[]): readonly RaisedAlarm[] =>
  raisings.filter(({ raisedAt, faultGoneAt, endedAt, acknowledgedAt }) => {
    const gone = faultGoneAt ?? endedAt;
    if (gone === null || between(raisedAt, gone) > fleetingWithin) return false;
    return acknowledgedAt === null || acknowledgedAt > gone;
  });

/** Alarms that have stood for more than a day now, the longest first. What was set aside doesn't stand. */
export const staleAlarms = (raisings: readonly RaisedAlarm[], to: Instant): readonly RaisedAlarm[] =>
  raisings.filter(({ raisedAt, endedAt }) => endedAt === null && between(raisedAt, to) > staleRule.after);
