import { getPosition, getTimes } from "suncalc";
import { Temporal } from "temporal-polyfill";
import { earlier, type Instant, inHours, instant, later, type Span } from "./instant.ts";
import { memoize } from "./memoize.ts";
import type { Place } from "./settings.ts";
import { zoneOrFallback } from "./zone.ts";

/** `day`: the sun's upper edge is up (-0.833°). `twilight`: civil, down to -6°; corvids are about. `night`: lower. */
export type Light = "night" | "twilight" | "day";

export interface LightSpan {
  readonly kind: Light;
  readonly from: Instant;
  readonly to: Instant;
}

/**
 * The light at a place, with a flat horizon at sea level: trees and hills move the low sun by minutes, so nobody should
 * be alarmed on seconds. Agrees with Meeus, Astronomical Algorithms (1998) ch. 15 and 25 to well under a minute.
 */
export function lightAt(place: Place, at: Instant): Light {
  for (const span of solarDayAround(place, at).spans) if (at < span.to) return span.kind;
  throw new Error(`expected ${at} within its solar day`);
}

/**
 * Contiguous spans from `from` to `to`; neighbours differ in kind.
 * @throws RangeError where `to` lies before `from`.
 */
export function lightSpans(place: Place, from: Instant, to: Instant): LightSpan[] {
  const spans: LightSpan[] = [];
  for (const span of spansThrough(place, from, to)) {
    const last = spans.at(-1);
    if (last?.kind === span.kind) spans[spans.length - 1] = { ...last, to: span.to };
    else spans.push(span);
  }
  return spans;
}

/** Hours with the sun above -6°: the birds' working day, also where it never rises. */
export function civilDaylightHours(place: Place, from: Instant, to: Instant): number {
  if (to < from) throw new RangeError(`expected from <= to, got ${from}..${to}`);
  let lit = 0;
  for (let at = from; at < to; ) {
    const day = solarDayAround(place, at);
    for (const span of day.spans) {
      if (span.kind !== "night") lit += Math.max(0, Math.min(span.to, to) - Math.max(span.from, at));
    }
    at = day.to;
  }
  return inHours(lit as Span);
}

/**
 * The birds' working day in which a moment lies or that is nearest: from civil dawn to dusk, within the solar day from one
 * lowest point of the sun to the next. Where the sun never goes below -6° it is that whole day; where it never comes above, nothing
 * (`dawn` = `dusk`).
 */
export function civilDayAround(
  place: Place,
  at: Instant,
): { from: Instant; to: Instant; dawn: Instant; dusk: Instant } {
  const { from, to, spans } = solarDayAround(place, at);
  const lit = spans.filter(({ kind }) => kind !== "night");
  const dawn = lit[0]?.from ?? to;
  return { from, to, dawn, dusk: lit.at(-1)?.to ?? dawn };
}

/**
 * The stretch that a day's ribbon shows: from the civil dusk of the evening before to that of `localDate` (YYYY-MM-DD).
 * Where dusk never comes, its place is taken by the local solar midnight, into which late dusks run in early summer, so
 * that one day's ribbon ends where the next begins. Without a place: from one local midnight to the next.
 * @throws RangeError where `localDate` is no date.
 */
export function duskToDusk(place: Place | null, zone: string, localDate: string): { from: Instant; to: Instant } {
  const date = Temporal.PlainDate.from(localDate);
  if (place === null) {
    const midnight = (day: Temporal.PlainDate) => instant(day.toZonedDateTime(zoneOrFallback(zone)).epochMilliseconds);
    return { from: midnight(date), to: midnight(date.add({ days: 1 })) };
  }
  const noon = date.toZonedDateTime({ timeZone: zoneOrFallback(zone), plainTime: "12:00" }).epochMilliseconds;
  // The date's daylight is that around the solar noon nearest to noon by the clock; the two may be hours apart.
  const day = Math.round(noon / dayLength + place.longitudeDegrees / 360 - 0.5);
  return { from: duskOf(solarDay(place, day - 1)), to: duskOf(solarDay(place, day)) };
}

const duskOf = (day: SolarDay): Instant => day.dusk ?? day.to;

function* spansThrough(place: Place, from: Instant, to: Instant): Generator<LightSpan> {
  if (to < from) throw new RangeError(`expected from <= to, got ${from}..${to}`);
  let at = from;
  while (at < to) {
    const day = solarDayAround(place, at);
    for (const span of day.spans) {
      if (span.to <= at || span.from >= to) continue;
      yield { kind: span.kind, from: later(span.from, at), to: earlier(span.to, to) };
    }
    at = day.to;
  }
}

const dayLength = 86_400_000;

/**
 * One solar day, from the sun's lowest point to the next. Events are stored by solar day and never by UTC date: the civil
 * dawn of 21 June at 59.5° N, 17.8° E falls on 20 June UTC.
 */
interface SolarDay {
  readonly index: number;
  readonly from: Instant;
  readonly to: Instant;
  readonly dusk: Instant | null;
  readonly spans: readonly LightSpan[];
}

function solarDayAround(place: Place, at: Instant): SolarDay {
  const day = solarDay(place, Math.floor(at / dayLength + place.longitudeDegrees / 360));
  // The index counts mean solar days; the true ones are up to 17 minutes off (equation of time).
  if (at < day.from) return solarDay(place, day.index - 1);
  if (at >= day.to) return solarDay(place, day.index + 1);
  return day;
}

// The same days are needed again with each report.
const solarDay = memoize(
  512,
  ({ latitudeDegrees, longitudeDegrees }: Place, index: number) => `${latitudeDegrees} ${longitudeDegrees} ${index}`,
  computeSolarDay,
);

function computeSolarDay(place: Place, index: number): SolarDay {
  const from = solarMidnight(place, index);
  const noon = solarNoon(place, index);
  const to = solarMidnight(place, index + 1);
  const risen = altitudeCrossings(place, from, noon, [civil, horizon]);
  const set = altitudeCrossings(place, noon, to, [horizon, civil]);

  const spans: LightSpan[] = [];
  let start = from;
  for (const crossing of [...risen, ...set, { at: to }]) {
    if (crossing.at > start) {
      const middle = instant((start + crossing.at) / 2);
      spans.push({ kind: lightOf(lowAltitude(place, middle)), from: start, to: crossing.at });
    }
    start = crossing.at;
  }
  return { index, from, to, dusk: set.find((crossing) => crossing.through === civil)?.at ?? null, spans };
}

const horizon = -0.833; // 34' of refraction and 16' of the sun's radius
const civil = -6;
const lightOf = (altitude: number): Light => (altitude > horizon ? "day" : altitude > civil ? "twilight" : "night");

/**
 * When the sun goes through these altitudes between its lowest and its highest point, where it only rises or only falls.
 * By halving: the library's own times start from the sun's declination at noon, and where the sun only grazes an altitude,
 * as on the first and last days of the midnight sun, they may be hours off or miss the crossing.
 */
function altitudeCrossings(place: Place, from: Instant, to: Instant, altitudes: readonly number[]) {
  const first = lowAltitude(place, from);
  const last = lowAltitude(place, to);
  return altitudes
    .filter((altitude) => first > altitude !== last > altitude)
    .map((through) => {
      let [before, after] = [from, to];
      while (after - before > 500) {
        const middle = instant((before + after) / 2);
        if (lowAltitude(place, middle) > through === first > through) before = middle;
        else after = middle;
      }
      return { through, at: instant(Math.round(after)) };
    });
}

/** True altitude of the sun's centre, degrees, exact while it is below the horizon and half a degree off when above. */
const lowAltitude = (place: Place, at: Instant): number =>
  getPosition(new Date(at), place.latitudeDegrees, place.longitudeDegrees).altitude - refractionBelowHorizon;

/** What the library adds to a sun below the horizon: refraction by Meeus eq. 16.4 held at 0°, degrees. */
const refractionBelowHorizon = 0.48396;

const solarNoon = (place: Place, index: number) => instant(Math.round(timesOf(place, index).solarNoon.getTime()));
const solarMidnight = (place: Place, index: number) => instant(Math.round(timesOf(place, index).nadir.getTime()));
const timesOf = (place: Place, index: number) =>
  getTimes(
    new Date((index + 0.5 - place.longitudeDegrees / 360) * dayLength),
    place.latitudeDegrees,
    place.longitudeDegrees,
  );
