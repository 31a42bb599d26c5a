import { after, days, earlier, type Instant, type Span } from "../instant.ts";
import { dayPartWords } from "../localTime.ts";
import { rememberedOnce } from "../rememberedOnce.ts";
import type { FeederSettings } from "../settings.ts";
import {
  eatenADay,
  expectedEaten,
  nobodyCame,
  type Outlook,
  outlookOf,
  outlookVariance,
  ratePerDay,
  whenEaten,
} from "./appetite.ts";
import { dayAround } from "./daySpan.ts";
import { type FirstPassage, firstPassageChance, firstPassageQuantile } from "./inverseGaussian.ts";
import { type HopperState, levelOf, portionOf } from "./level.ts";
import { levelVariance, levelWithPortion, portionVariance } from "./levelFilter.ts";

/** When the hopper will be empty. Where it is empty already all three are the moment since when. */
export type EmptyForecast =
  | { readonly kind: "unknown"; readonly missing: "level" | "appetite" | "reports" }
  | { readonly kind: "notEmptying" }
  | {
      readonly kind: "emptyAt";
      readonly p10: Instant; // with 90 % certainty there is food until then
      readonly p50: Instant;
      readonly p90: Instant;
    };

/** Further ahead nobody plans, and the season will have changed the appetite. */
const forecastDaysMax = 365;

/**
 * What is left, in grams still to be eaten, is the distance, and what these birds are expected to eat is the clock: on that
 * clock the level sinks by a gram a gram, give or take, and the time until it reaches zero is inverse Gaussian. Doubt about
 * level, portion, flock and the days to come is folded in as more diffusion, so that mean and variance of the time come out
 * right (first order in all doubts). Then the clock is read: its hand moves with the light and the habits of these birds.
 */
export function forecastEmpty(hopper: HopperState, settings: FeederSettings, now: Instant): EmptyForecast {
  if (hopper.emptySince !== null) {
    return { kind: "emptyAt", p10: hopper.emptySince, p50: hopper.emptySince, p90: hopper.emptySince };
  }
  const sinking = sinkingOf(hopper, settings, now);
  if (sinking.kind !== "sinking") return sinking;
  const at = (chance: number) =>
    whenEaten(sinking.outlook, settings, now, firstPassageQuantile(sinking.passage, chance), forecastDaysMax);
  const p10 = earlier(at(0.1), believableUntil(hopper, settings, now));
  return { kind: "emptyAt", p10, p50: at(0.5), p90: at(0.9) };
}

/**
 * Until when food is promised at the most, whatever the last days looked like: until all that may be in the hopper is eaten at a
 * third of what these birds ate on the days that are remembered. A flock seldom falls lower and stays there; a feeder whose
 * events arrive late looks as if it did. Common practice, no source.
 */
function believableUntil(hopper: HopperState, settings: FeederSettings, now: Instant): Instant {
  const eaten = eatenADay(hopper.appetite);
  const level = levelOf(hopper, settings);
  if (eaten === null || level === null) return after(now, days(forecastDaysMax));
  return after(now, days(Math.min(forecastDaysMax, leastShareEaten ** -1 * (level.high / eaten))));
}
const leastShareEaten = 1 / 3;

/**
 * Whether the forecast's `chance` (0.1 for p10, 0.5 for p50) may lie within so much time from now, or may not be known.
 * Asked at every step, so it is cheap, and errs on one side only: where it says no, that time lies further ahead.
 */
export function mayBeEmptyWithin(
  hopper: HopperState,
  settings: FeederSettings,
  ahead: Span,
  chance: number,
  now: Instant,
): boolean {
  if (hopper.emptySince !== null) return true;
  const sinking = sinkingOf(hopper, settings, now);
  if (sinking.kind !== "sinking") return sinking.kind === "unknown";
  const eaten = expectedEaten(sinking.outlook, settings, now, after(now, ahead));
  // Asked for a little less than the chance, for the roundings on the way to the forecast.
  return firstPassageChance(sinking.passage, eaten) >= 0.99 * chance;
}

type Sinking =
  | Exclude<EmptyForecast, { kind: "emptyAt" }>
  | { readonly kind: "sinking"; readonly passage: FirstPassage; readonly outlook: Outlook };

/** Asked at each step, once whether that may be near and once when. */
const sinkingOf = rememberedOnce(reckonSinking);

function reckonSinking(hopper: HopperState, settings: FeederSettings, now: Instant): Sinking {
  const level = levelOf(hopper, settings);
  if (level === null) return { kind: "unknown", missing: "level" };
  const outlook = outlookOf(hopper.appetite, settings);
  if (outlook === null)
    return nobodyCame(hopper.appetite) ? { kind: "notEmptying" } : { kind: "unknown", missing: "appetite" };
  const portion = portionOf(hopper);
  const distance = Math.max(level.grams, 0.5 * portion.mean);
  const rate = ratePerDay(outlook, dayAround(settings, now));
  if (distance > rate * forecastDaysMax) return { kind: "notEmptying" };
  const ahead = Math.max(distance / rate, 0.02);
  const doubt = outlookVariance(outlook, ahead, distance, portion.mean, portion.spread) + levelDoubt(hopper, distance);
  return { kind: "sinking", passage: { distance, drift: 1, spread: Math.sqrt(doubt * distance) }, outlook };
}

/**
 * Variance of the time by what isn't known of level and portion, as a share of it squared. For T = L/μ to first order:
 * var(L)/L² + var(μ)/μ² − 2·cov(L, μ)/(L·μ). Where portions are counted, a portion heavier than thought makes both the level
 * lower and the appetite larger: the two errors go together.
 */
function levelDoubt(hopper: HopperState, distance: number): number {
  const { belief } = hopper;
  const ofLevel = levelVariance(belief) / (distance * distance);
  if (hopper.lastPortionAt === null) return ofLevel;
  const ofPortion = portionVariance(belief) / (belief.portion * belief.portion);
  const together = levelWithPortion(belief) / (distance * belief.portion);
  return Math.max(ofLevel + ofPortion - 2 * together, 0.5 * ofLevel);
}

const unknownWords = {
  level: "how much is in it isn't known: weigh it or enter a refill",
  appetite: "too early to say how long it lasts",
  reports: "not known while it is silent",
} as const;

/** The same in a few words for the keeper; `zone` is the yard's IANA zone. */
export function runOutWords(forecast: EmptyForecast, zone: string, now: Instant): string {
  switch (forecast.kind) {
    case "unknown":
      return unknownWords[forecast.missing];
    case "notEmptying":
      return "hardly anything is eaten: no end in sight";
    case "emptyAt": {
      if (forecast.p90 <= now) return `empty since ${dayPartWords(forecast.p50, zone, now)}`;
      const soonest = dayPartWords(forecast.p10, zone, now);
      if (forecast.p10 - now > days(1)) return `enough until ${soonest}, 90 % sure`;
      const likely = dayPartWords(forecast.p50, zone, now);
      return soonest === likely ? `empty by ${likely}` : `may be empty by ${soonest}, likely by ${likely}`;
    }
  }
}
