import type { FeederSettings } from "../feeder.ts";
import { after, days, type Instant, instant } from "../instant.ts";
import { localTimeOf } from "../localTime.ts";
import { lightSpans } from "../sun.ts";

/**
 * Which part of each hour of the day (UTC) birds may be about, before these birds have shown it themselves: 24 numbers
 * from 0 to 1, for the day that begins at `from`. Corvids eat while the sun stands above -6°. Where the place isn't known,
 * or the sun doesn't come up that far at all, ten hours are assumed: 07 to 17 by the yard's own clock, within two hours of
 * a winter's day up to 60° N, and half of a summer's (common practice, no source).
 */
export function hoursOfLight(
  { place, zone }: Pick<FeederSettings, "place" | "zone">,
  from: Instant,
): readonly number[] {
  const lit = new Array<number>(24).fill(0);
  if (place !== null) {
    for (const span of lightSpans(place, from, after(from, days(1)))) {
      if (span.kind !== "night") addHours(lit, span.from, span.to);
    }
  }
  return lit.some((part) => part > 0) ? lit : assumedHours(zone, from);
}

const assumedFrom = 7;
const assumedHoursLong = 10;

function assumedHours(zone: string, from: Instant): readonly number[] {
  const [hour, minute] = localTimeOf(from, zone).split(":").map(Number);
  const localNow = (hour ?? 0) + (minute ?? 0) / 60;
  const morning = instant(from + (assumedFrom - localNow) * hourLong);
  const lit = new Array<number>(24).fill(0);
  addHours(lit, morning, instant(morning + assumedHoursLong * hourLong));
  return lit;
}

/** Adds what part of each hour of the day (UTC) lies between two moments; it goes round where they are days apart. */
export function addHours(parts: number[], from: Instant, to: Instant): void {
  for (let at: number = from; at < to; ) {
    const next = Math.min((Math.floor(at / hourLong) + 1) * hourLong, to);
    const hour = hourOf(at);
    parts[hour] = (parts[hour] ?? 0) + (next - at) / hourLong;
    at = next;
  }
}

/** The hour of the day (UTC), 0 to 23. */
export const hourOf = (at: number): number => Math.floor(at / hourLong) % 24;
export const hourLong = 3_600_000;
