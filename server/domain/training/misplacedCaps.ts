import type { Instant } from "../instant.ts";
import { addLocalDays, type LocalDate, localDateOf } from "../localTime.ts";

/** Caps that lay on the dish instead of in the slot, as a keeper counted them. No sensor sees them. */
export interface CountedCaps {
  readonly at: Instant;
  readonly caps: number;
}

/** The sums of the days on which somebody counted, the oldest first; a count of none is one, too. */
export function capsByDay(
  counts: readonly CountedCaps[],
  zone: string,
): readonly { readonly date: LocalDate; readonly caps: number }[] {
  const days = new Map<LocalDate, number>();
  for (const { at, caps } of counts) {
    const date = localDateOf(at, zone);
    days.set(date, (days.get(date) ?? 0) + caps);
  }
  return [...days].map(([date, caps]) => ({ date, caps })).sort((a, b) => (a.date < b.date ? -1 : 1));
}

/** Today and the days before it that count as the last ones. */
export const capsCountedOver = 5;

/** Caps of the last days, of the present stage only. */
export function recentCaps(counts: readonly CountedCaps[], since: Instant, now: Instant, zone: string): number {
  const first = addLocalDays(localDateOf(now, zone), 1 - capsCountedOver);
  return capsByDay(
    counts.filter(({ at }) => at >= since && at <= now),
    zone,
  )
    .filter(({ date }) => date >= first)
    .reduce((sum, { caps }) => sum + caps, 0);
}

/** Common practice, no source: one or two caps may have been dropped by chance, several show that birds take the dish for the place. */
export const severalCaps = 3;
