import type { FaultKind } from "../faults.ts";
import { between, type Instant } from "../instant.ts";
import { alarmKey, type FaultOnset, type RaisedAlarm } from "./history.ts";
import { chatterRule, fleetingSpanMax, staleRule } from "./limits.ts";

/** Alarms that come and go, and alarms that never end: both teach people to ignore alarms. */

export interface ChatteringAlarm {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly perMinuteMax: number; // onsets within a minute, at most
  readonly at: Instant; // when its first such minute was full
}

/** Which alarms' faults came three times within a minute, by raw transitions, the worst first. */
export function chatteringAlarms(onsets: readonly FaultOnset[]): ChatteringAlarm[] {
  const recent = new Map<string, FaultOnset[]>();
  const found = new Map<string, ChatteringAlarm>();
  for (const onset of onsets) {
    const key = alarmKey(onset);
    const recentOnsets = (recent.get(key) ?? []).filter(({ at }) => between(at, onset.at) <= chatterRule.within);
    recentOnsets.push(onset);
    recent.set(key, recentOnsets);
    if (recentOnsets.length < chatterRule.onsets) continue;
    const before = found.get(key) ?? { ...onset, perMinuteMax: 0 };
    found.set(key, { ...before, perMinuteMax: Math.max(before.perMinuteMax, recentOnsets.length) });
  }
  return [...found.values()].sort((one, other) => other.perMinuteMax - one.perMinuteMax);
}

/**
 * Alarms whose fault ended before anybody could act. Judged by the fault and not by its alarm, which an off-delay keeps active.
 */
export const fleetingAlarms = (raised: readonly RaisedAlarm[]): readonly RaisedAlarm[] =>
  raised.filter(({ raisedAt, faultGoneAt, endedAt, acknowledgedAt }) => {
    const goneAt = faultGoneAt ?? endedAt;
    if (goneAt === null || between(raisedAt, goneAt) > fleetingSpanMax) return false;
    return acknowledgedAt === null || acknowledgedAt > goneAt;
  });

/** Alarms that have been active for more than a day, the longest first. Suppressed ones aren't active. */
export const staleAlarms = (raised: readonly RaisedAlarm[], to: Instant): readonly RaisedAlarm[] =>
  raised.filter(({ raisedAt, endedAt }) => endedAt === null && between(raisedAt, to) > staleRule.after);
