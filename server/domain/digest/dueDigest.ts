import { after, hours, type Instant } from "../instant.ts";
import { addLocalDays, instantOfLocal, type LocalDate, type LocalTime, localDateOf } from "../localTime.ts";

/**
 * How long after its time a digest is still sent: a server that was off at half past seven sends it when it is back the same
 * morning. After that the next digest covers the day. (Common practice, no source.)
 */
export const digestLateMax = hours(6);

/**
 * Which local date's digest is due at `now`; null where none is. A digest is stored by its local date, so neither a day of
 * 25 hours nor a restart can send one twice: `lastDate` is the newest that was sent, null where there was none.
 */
export function dueDigest(
  zone: string,
  digestTime: LocalTime,
  now: Instant,
  lastDate: LocalDate | null = null,
): LocalDate | null {
  const today = localDateOf(now, zone);
  // A digest late in the evening is still due after midnight, hence yesterday's date.
  for (const date of [today, addLocalDays(today, -1)]) {
    const at = instantOfLocal(date, digestTime, zone);
    const due = at <= now && now < after(at, digestLateMax);
    if (due && (lastDate === null || date > lastDate)) return date; // ISO dates sort as text
  }
  return null;
}
