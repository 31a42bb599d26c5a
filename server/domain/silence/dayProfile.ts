import { days, earlier, type Instant, inHours, later, type Span } from "../instant.ts";
import type { Place } from "../settings.ts";
import { civilDayAround } from "../sun.ts";

/**
 * When in the day a sensor is used: bouts so far in each eighth of the birds' day, from civil dawn to dusk, newer ones
 * counting more; by eighths of the whole day (UTC) where the place isn't known. Eighths of the light and not hours by the
 * clock, so that a habit of the early morning stays one from winter to summer.
 */
export type DayProfile = readonly number[];

const partCount = 8;
export const initialDayProfile: DayProfile = Array.from({ length: partCount }, () => 0);

export function updateDayProfile(profile: DayProfile, place: Place | null, at: Instant): DayProfile {
  const part = partOf(daylightSpanAt(place, at), at);
  // To a thousandth, since it is stored with each bout.
  return profile.map((count, index) => Math.round(1_000 * (count * boutsKeptShare + (index === part ? 1 : 0))) / 1_000);
}

/**
 * Exposure: the hours of light in a stretch, each weighted by how much the sensor is used at that time of the day; over
 * a whole day they come to its hours. So a silence is measured against what is expected of these hours (time
 * rescaling; Brown, Barbieri, Ventura, Kass & Frank 2002): a quiet noon shows little about a sensor that is used at dawn.
 */
export function exposure(profile: DayProfile, place: Place | null, from: Instant, to: Instant): number {
  const weights = partWeights(profile);
  let weightedSpan = 0;
  for (let at = from; at < to; ) {
    const day = daylightSpanAt(place, at);
    const part = (day.dusk - day.dawn) / partCount;
    for (let index = 0; part > 0 && index < partCount; index++) {
      const start = later(at, (day.dawn + index * part) as Instant);
      const end = earlier(to, (day.dawn + (index + 1) * part) as Instant);
      if (end > start) weightedSpan += (weights[index] ?? 1) * (end - start);
    }
    at = later(day.to, (at + 1) as Instant);
  }
  return inHours(weightedSpan as Span);
}

interface DaylightSpan {
  readonly dawn: Instant;
  readonly dusk: Instant;
  readonly to: Instant;
}

function daylightSpanAt(place: Place | null, at: Instant): DaylightSpan {
  if (place !== null) return civilDayAround(place, at);
  const dawn = (Math.floor(at / days(1)) * days(1)) as Instant;
  const to = (dawn + days(1)) as Instant;
  return { dawn, dusk: to, to };
}

/** A bird before dawn is an early bird of the first part, one after dusk a late one of the last. */
const partOf = ({ dawn, dusk }: DaylightSpan, at: Instant): number =>
  dusk > dawn
    ? Math.min(partCount - 1, Math.max(0, Math.floor((partCount * (at - dawn)) / (dusk - dawn))))
    : partCount >> 1;

/** How much a part is used, 1 on average: smoothed over its neighbours and towards flat while little is known. */
function partWeights(profile: DayProfile): readonly number[] {
  const at = (index: number) => profile[Math.min(partCount - 1, Math.max(0, index))] ?? 0;
  const mean = profile.reduce((sum, count) => sum + count, 0) / partCount;
  return profile.map((count, index) => {
    const smoothed = 0.5 * count + 0.25 * (at(index - 1) + at(index + 1));
    return (smoothed + priorBouts) / (mean + priorBouts);
  });
}

/** As if each part had been used so often: with 30 bouts known, half of the profile counts. Our choice. */
const priorBouts = 4;
const boutsKeptShare = 1 - 1 / 300;
