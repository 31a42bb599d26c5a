import { Temporal } from "temporal-polyfill";
import { days, type Instant, instant } from "../instant.ts";
import { addLocalDays, startOfLocalDay } from "../localTime.ts";
import { memoize } from "../memoize.ts";
import { zoneOrFallback } from "../zone.ts";

/**
 * Where local days begin, for thousands of days at once. A query of the zone's rules takes a tenth of a millisecond, so the changes
 * of a zone's offset are looked up once for each year, and days far from a change follow by arithmetic.
 */

/** Days since 1970-01-01 by the zone's calendar. */
export function localDayNumber(at: Instant, zone: string): number {
  const number = Math.floor((at + offsetAt(at, zone)) / dayLength);
  // A clock that is set back over midnight shows the old date once more, after the new one has begun.
  return at < localDayStart(number + 1, zone) ? number : number + 1;
}

/** The first moment of a local day. A date that the zone leaves out begins and ends with the next one. */
export function localDayStart(dayNumber: number, zone: string): Instant {
  const midnight = dayNumber * dayLength;
  const offset = constantOffset(instant(midnight - dayLength), instant(midnight + dayLength), zone);
  return offset === null ? startNearChange(dayNumber, zone) : instant(midnight - offset);
}

const dayLength = days(1);

const startNearChange = memoize(
  256,
  (dayNumber: number, zone: string) => `${zone} ${dayNumber}`,
  (dayNumber, zone): Instant => startOfLocalDay(addLocalDays("1970-01-01", dayNumber), zone),
);

/** From `from` on, the zone's clocks are ahead of UTC by so many milliseconds. */
interface OffsetChange {
  readonly from: number;
  readonly offset: number;
}

/** Null where the offset changes between the two moments. */
function constantOffset(from: Instant, to: Instant, zone: string): number | null {
  const first = offsetChange(from, zone);
  const last = offsetChange(to, zone);
  return first.offset === last.offset && (first.from === last.from || last.from <= from) ? first.offset : null;
}

const offsetAt = (at: Instant, zone: string): number => offsetChange(at, zone).offset;

function offsetChange(at: Instant, zone: string): OffsetChange {
  const found = offsetChanges(Math.floor(at / yearLength), zone).findLast((change) => change.from <= at);
  if (found === undefined) throw new Error(`expected an offset of ${zone} at ${at}`);
  return found;
}

const yearLength = days(366);

/** The offset at the begin of a span of 366 days, and its changes within it. */
const offsetChanges = memoize(
  512,
  (year: number, zone: string) => `${zone} ${year}`,
  (year, zone): readonly OffsetChange[] => {
    const begin = year * yearLength;
    const start = Temporal.Instant.fromEpochMilliseconds(begin).toZonedDateTimeISO(zoneOrFallback(zone));
    const changes: OffsetChange[] = [{ from: begin, offset: start.offsetNanoseconds / 1e6 }];
    let next = start.getTimeZoneTransition("next");
    while (next !== null && next.epochMilliseconds < begin + yearLength) {
      changes.push({ from: next.epochMilliseconds, offset: next.offsetNanoseconds / 1e6 });
      next = next.getTimeZoneTransition("next");
    }
    return changes;
  },
);
