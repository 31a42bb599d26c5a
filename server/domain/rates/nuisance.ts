import type { FaultKind } from "../faults.ts";
import { after, between, type Instant, later, type Span } from "../instant.ts";
import { addLocalDays, startOfLocalDay } from "../localTime.ts";
import { chatterRule, fleetingRule, staleRule } from "./ceilings.ts";
import { type Coming, keyOf, type Raising } from "./history.ts";
import { localDaysOf } from "./load.ts";

/** Alarms that come and go, and alarms that never go: both teach a keeper to look away. */

export interface Chatter {
  readonly feeder: string;
  readonly fault: FaultKind;
  readonly most: number; // comings within a minute, at worst
  readonly at: Instant; // when its first such minute was full
}

/** Which alarms' faults came three times within a minute, by raw transitions, the worst first. */
export function chatteringOf(comings: readonly Coming[]): Chatter[] {
  const found: Chatter[] = [];
  for (const [, same] of grouped(comings)) {
    let most = 0;
    let first: Coming | null = null;
    for (let newest = 0, oldest = 0; newest < same.length; newest += 1) {
      const coming = same[newest];
      if (coming === undefined) break;
      while ((same[oldest]?.at ?? coming.at) < coming.at - chatterRule.within) oldest += 1;
      const count = newest - oldest + 1;
      if (count >= chatterRule.comings) first ??= coming;
      most = Math.max(most, count);
    }
    if (first !== null) found.push({ feeder: first.feeder, fault: first.fault, most, at: first.at });
  }
  return found.sort((one, other) => other.most - one.most);
}

/**
 * Alarms whose fault was gone again before anybody could have seen to it. Judged by the fault and not by its alarm, which an
 * off-delay lets stand on.
 */
export const fleetingOf = (raisings: readonly Raising[]): readonly Raising[] =>
  raisings.filter(({ at, goneAt, endedAt, acknowledgedAt }) => {
    const gone = goneAt ?? endedAt;
    if (gone === null || between(at, gone) > fleetingRule.within) return false;
    return acknowledgedAt === null || acknowledgedAt > gone;
  });

export interface Stale {
  readonly standing: readonly Raising[]; // stale just now, the longest first
  /** Alarms that were stale at some time within the span. */
  readonly ever: readonly Raising[];
  readonly mostOnADay: number;
}

/** Alarms that stood for more than a day. What was set aside doesn't stand. */
export function staleOf(raisings: readonly Raising[], from: Instant, to: Instant, zone: string): Stale {
  const ever = raisings.filter((raising) => staleSpan(raising, from, to) !== null);
  let mostOnADay = 0;
  for (const date of localDaysOf(from, to, zone)) {
    const [begins, ends] = [startOfLocalDay(date, zone), startOfLocalDay(addLocalDays(date, 1), zone)];
    const on = ever.filter((raising) => {
      const span = staleSpan(raising, from, to);
      return span !== null && span.from < ends && span.to > begins;
    });
    mostOnADay = Math.max(mostOnADay, on.length);
  }
  return { standing: ever.filter(({ endedAt }) => endedAt === null), ever, mostOnADay };
}

function staleSpan({ at, endedAt }: Raising, from: Instant, to: Instant): { from: Instant; to: Instant } | null {
  const begins = later(from, after(at, staleRule.after));
  const ends = endedAt ?? to;
  return begins < ends ? { from: begins, to: ends } : null;
}

export const standsFor = ({ at, endedAt }: Raising, to: Instant): Span => between(at, endedAt ?? to);

function grouped(comings: readonly Coming[]): Map<string, Coming[]> {
  const groups = new Map<string, Coming[]>();
  for (const coming of comings) {
    const key = keyOf(coming);
    const group = groups.get(key);
    if (group === undefined) groups.set(key, [coming]);
    else group.push(coming);
  }
  return groups;
}
