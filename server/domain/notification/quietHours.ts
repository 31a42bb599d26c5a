import type { Instant } from "../instant.ts";
import { addLocalDays, instantOfLocal, localDateOf } from "../localTime.ts";
import type { NotifiedPriority, QuietHours, Recipient } from "./escalation.ts";

/**
 * From when this person may be rung for such a call, `at` or later: what is `soon` always waits for the end of the quiet
 * hours; what is `urgent` waits only where the person wants no exception.
 */
export function notifiableFrom(
  { quietHours, urgentBreaks }: Pick<Recipient, "quietHours" | "urgentBreaks">,
  priority: NotifiedPriority,
  zone: string,
  at: Instant,
): Instant {
  if (quietHours === null || (priority === "urgent" && urgentBreaks)) return at;
  return quietUntil(quietHours, zone, at) ?? at;
}

/**
 * The end of the quiet hours that `at` lies in (their first moment belongs to them, their last doesn't); null where it lies
 * in none. Each night is worked out from its own local dates, so that it begins and ends by the wall clock also where the
 * clocks change that night; a time left out or doubled is read as `instantOfLocal` says.
 * @throws RangeError where a time or the zone can't be read.
 */
export function quietUntil({ from, to }: QuietHours, zone: string, at: Instant): Instant | null {
  if (from === to) return null; // no hours rather than all: nobody may vanish by a slip of the finger
  const spansMidnight = from > to; // HH:MM sorts as text
  // Where a zone left out a whole date, last night's is the day before yesterday's.
  const today = localDateOf(at, zone);
  let until: Instant | null = null;
  for (const back of [-2, -1, 0]) {
    const date = addLocalDays(today, back);
    const begin = instantOfLocal(date, from, zone);
    const end = instantOfLocal(spansMidnight ? addLocalDays(date, 1) : date, to, zone);
    const here = until ?? at;
    if (begin <= here && here < end) until = end;
  }
  return until;
}
