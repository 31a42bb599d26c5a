import { after, days, type Instant, instant } from "../instant.ts";
import { localTimeOf } from "../localTime.ts";
import { memoize } from "../memoize.ts";
import type { FeederSettings, Place } from "../settings.ts";
import { lightSpans } from "../sun.ts";

/**
 * One day as birds live it: from the sun's lowest point to the next, with civil dawn and dusk between. What they eat is stored by
 * parts of it that stretch and shrink with the light, so that a habit learnt in October still fits in November. Where the
 * place isn't known a day goes by the yard's own clock, and light is taken to last from 07 to 17 (common practice, no source).
 */
export interface DaySpan {
  readonly index: number; // counts days
  readonly from: Instant;
  readonly dawn: Instant;
  readonly dusk: Instant;
  readonly to: Instant;
}

export type YardLocation = Pick<FeederSettings, "place" | "zone">;

/** Parts of a day: some for the night before dawn, most for the light, some for the night after dusk. */
export const partsBeforeDawn = 4;
export const daylightParts = 16;
export const partsOfDay = 24;

export function daySpanAt(yard: YardLocation, at: Instant): DaySpan {
  const { place, zone } = yard;
  // The same day is mostly needed again: a report a minute stays within it for a day.
  if (
    lastDay !== null &&
    at >= lastDay.day.from &&
    at < lastDay.day.to &&
    lastDay.zone === zone &&
    isSamePlace(lastDay.place, place)
  ) {
    return lastDay.day;
  }
  const day = place === null ? clockDayAt(zone, at) : solarDayAt(place, at);
  lastDay = { place, zone, day };
  return day;
}
let lastDay: { readonly place: Place | null; readonly zone: string; readonly day: DaySpan } | null = null;

const isSamePlace = (a: Place | null, b: Place | null): boolean =>
  a === b ||
  (a !== null && b !== null && a.latitudeDegrees === b.latitudeDegrees && a.longitudeDegrees === b.longitudeDegrees);

export const lightHours = (day: DaySpan): number => (day.dusk - day.dawn) / hourLong;

/** Which part of its day a moment lies in, 0 to 23, and up to when. */
export function partAt(day: DaySpan, at: Instant): { readonly part: number; readonly until: Instant } {
  const { from, dawn, dusk, to } = day;
  if (at < dawn) return partWithin(from, dawn, partsBeforeDawn, at, 0);
  if (at < dusk) return partWithin(dawn, dusk, daylightParts, at, partsBeforeDawn);
  return partWithin(dusk, to, partsOfDay - partsBeforeDawn - daylightParts, at, partsBeforeDawn + daylightParts);
}

export const isDaylightPart = (part: number): boolean =>
  part >= partsBeforeDawn && part < partsBeforeDawn + daylightParts;

function partWithin(from: Instant, to: Instant, parts: number, at: Instant, first: number) {
  const length = (to - from) / parts;
  let index = Math.min(Math.max(0, Math.floor((at - from) / length)), parts - 1);
  // A part ends at a fraction of a millisecond: a loop over parts must still make progress.
  if (index < parts - 1 && from + (index + 1) * length - at < 1) index += 1;
  const until = index === parts - 1 ? to : instant(from + (index + 1) * length);
  return { part: first + index, until };
}

const hourLong = 3_600_000;
const dayLong = 86_400_000;

const solarDayAt = (place: Place, at: Instant): DaySpan =>
  solarDay(place, Math.floor(at / dayLong + place.longitudeDegrees / 360));

const solarDay = memoize(
  512,
  ({ latitudeDegrees, longitudeDegrees }: Place, index: number) => `${latitudeDegrees} ${longitudeDegrees} ${index}`,
  (place, index): DaySpan => {
    const from = instant((index - place.longitudeDegrees / 360) * dayLong);
    const to = after(from, days(1));
    let dawn: Instant | null = null;
    let dusk: Instant = to;
    for (const span of lightSpans(place, from, to)) {
      if (span.kind === "night") continue;
      dawn ??= span.from;
      dusk = span.to;
    }
    // The sun stays down: birds go by a clock that isn't the sun's.
    if (dawn === null || dusk - dawn < hourLong) return { index, ...assumedLight(from, to) };
    // Where it never sets, dusk and dawn are the night's ends all the same, so that each part has some length.
    return {
      index,
      from,
      dawn: instant(Math.max(dawn, from + nightMin)),
      dusk: instant(Math.min(dusk, to - nightMin)),
      to,
    };
  },
);
const nightMin = 600_000;

const clockDayAt = (zone: string, at: Instant): DaySpan => {
  const offset = offsetOf(zone, Math.floor(at / dayLong));
  const index = Math.floor((at + offset) / dayLong);
  const from = instant(index * dayLong - offset);
  return { index, ...assumedLight(from, after(from, days(1))) };
};

const assumedLight = (from: Instant, to: Instant) => ({
  from,
  dawn: instant(from + 7 * hourLong),
  dusk: instant(from + 17 * hourLong),
  to,
});

/** Milliseconds by which the yard's clock is ahead of UTC in that UTC day's noon. */
const offsetOf = memoize(
  512,
  (zone: string, utcDay: number) => `${zone} ${utcDay}`,
  (zone, utcDay): number => {
    const [hour, minute] = localTimeOf(instant((utcDay + 0.5) * dayLong), zone)
      .split(":")
      .map(Number);
    const hoursAhead = (hour ?? 12) + (minute ?? 0) / 60 - 12;
    return hoursAhead * hourLong;
  },
);
