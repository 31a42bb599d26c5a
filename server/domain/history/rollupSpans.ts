import { after, earlier, hours, type Instant, instant, minutes } from "../instant.ts";
import { localDayNumber, localDayStart } from "./zoneOffsets.ts";

/**
 * The spans that have roll-ups: quarters of an hour, hours and days. Days are those of the yard's own calendar, so they have 23 or
 * 25 hours where the clock changes. Hours count from the beginning of the local day, so they lie within one day also where the zone
 * is half an hour or three quarters off; the last of a day may be shorter. Quarters divide both: offsets change by full quarters
 * only (IANA tz database, since 1972).
 */
export interface RollupSpan {
  readonly from: Instant;
  readonly to: Instant;
}

export const quarterLength = minutes(15);

export function quarterOf(at: Instant): RollupSpan {
  const from = instant(Math.floor(at / quarterLength) * quarterLength);
  return { from, to: after(from, quarterLength) };
}

export function hourOf(at: Instant, zone: string): RollupSpan {
  const day = dayOf(at, zone);
  const from = after(day.from, hours(Math.floor((at - day.from) / hours(1))));
  return { from, to: earlier(after(from, hours(1)), day.to) };
}

export function dayOf(at: Instant, zone: string): RollupSpan {
  const dayNumber = localDayNumber(at, zone);
  return { from: localDayStart(dayNumber, zone), to: localDayStart(dayNumber + 1, zone) };
}
