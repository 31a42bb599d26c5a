import { after, days, earlier, type Instant, type Span } from "../instant.ts";
import { dayPartText } from "../localTime.ts";
import { memoizeLatest } from "../memoizeLatest.ts";
import type { FeederSettings } from "../settings.ts";
import {
  type AppetiteForecast,
  appetiteForecast,
  dailyRate,
  expectedEaten,
  expectedEatenAt,
  forecastVariance,
  isUnvisited,
  usualDailyGrams,
} from "./appetite.ts";
import { daySpanAt } from "./daySpan.ts";
import { type FirstPassage, firstPassageProbability, firstPassageQuantile } from "./inverseGaussian.ts";
import { type HopperState, hopperLevel, learntPortion } from "./level.ts";
import { levelPortionCovariance, levelVariance, portionVariance } from "./levelFilter.ts";

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
  const sinking = levelDecline(hopper, settings, now);
  if (sinking.kind !== "declining") return sinking;
  const at = (chance: number) =>
    expectedEatenAt(sinking.forecast, settings, now, firstPassageQuantile(sinking.passage, chance), forecastDaysMax);
  const p10 = earlier(at(0.1), forecastLimit(hopper, settings, now));
  return { kind: "emptyAt", p10, p50: at(0.5), p90: at(0.9) };
}

/**
 * Until when food is promised at the most, whatever the last days looked like: until all that may be in the hopper is eaten at a
 * third of what these birds ate on the days that are remembered. A flock seldom falls lower and stays there; a feeder whose
 * events arrive late looks as if it did. Common practice, no source.
 */
function forecastLimit(hopper: HopperState, settings: FeederSettings, now: Instant): Instant {
  const eaten = usualDailyGrams(hopper.appetite);
  const level = hopperLevel(hopper, settings);
  if (eaten === null || level === null) return after(now, days(forecastDaysMax));
  return after(now, days(Math.min(forecastDaysMax, eatenShareMin ** -1 * (level.high / eaten))));
}
const eatenShareMin = 1 / 3;

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
  const sinking = levelDecline(hopper, settings, now);
  if (sinking.kind !== "declining") return sinking.kind === "unknown";
  const eaten = expectedEaten(sinking.forecast, settings, now, after(now, ahead));
  // Asked for a little less than the chance, for the roundings on the way to the forecast.
  return firstPassageProbability(sinking.passage, eaten) >= 0.99 * chance;
}

type LevelDecline =
  | Exclude<EmptyForecast, { kind: "emptyAt" }>
  | { readonly kind: "declining"; readonly passage: FirstPassage; readonly forecast: AppetiteForecast };

/** Asked at each step, once whether that may be near and once when. */
const levelDecline = memoizeLatest(computeLevelDecline);

function computeLevelDecline(hopper: HopperState, settings: FeederSettings, now: Instant): LevelDecline {
  const level = hopperLevel(hopper, settings);
  if (level === null) return { kind: "unknown", missing: "level" };
  const outlook = appetiteForecast(hopper.appetite, settings);
  if (outlook === null)
    return isUnvisited(hopper.appetite) ? { kind: "notEmptying" } : { kind: "unknown", missing: "appetite" };
  const portion = learntPortion(hopper);
  const distance = Math.max(level.grams, 0.5 * portion.mean);
  const rate = dailyRate(outlook, daySpanAt(settings, now));
  if (distance > rate * forecastDaysMax) return { kind: "notEmptying" };
  const ahead = Math.max(distance / rate, 0.02);
  const doubt =
    forecastVariance(outlook, ahead, distance, portion.mean, portion.spread) + levelVarianceAt(hopper, distance);
  return { kind: "declining", passage: { distance, drift: 1, spread: Math.sqrt(doubt * distance) }, forecast: outlook };
}

/**
 * Variance of the time by what isn't known of level and portion, as a share of it squared. For T = L/μ to first order:
 * var(L)/L² + var(μ)/μ² − 2·cov(L, μ)/(L·μ). Where portions are counted, a portion heavier than thought makes both the level
 * lower and the appetite larger: the two errors go together.
 */
function levelVarianceAt(hopper: HopperState, distance: number): number {
  const { estimate } = hopper;
  const ofLevel = levelVariance(estimate) / (distance * distance);
  if (hopper.lastPortionAt === null) return ofLevel;
  const ofPortion = portionVariance(estimate) / (estimate.portion * estimate.portion);
  const together = levelPortionCovariance(estimate) / (distance * estimate.portion);
  return Math.max(ofLevel + ofPortion - 2 * together, 0.5 * ofLevel);
}

const unknownTexts = {
  level: "how much is in it isn't known: weigh it or enter a refill",
  appetite: "too early to say how long it lasts",
  reports: "not known while it is silent",
} as const;

/** The same in a few words for the keeper; `zone` is the yard's IANA zone. */
export function runOutText(forecast: EmptyForecast, zone: string, now: Instant): string {
  switch (forecast.kind) {
    case "unknown":
      return unknownTexts[forecast.missing];
    case "notEmptying":
      return "hardly anything is eaten: no end in sight";
    case "emptyAt": {
      if (forecast.p90 <= now) return `empty since ${dayPartText(forecast.p50, zone, now)}`;
      const soonest = dayPartText(forecast.p10, zone, now);
      if (forecast.p10 - now > days(1)) return `enough until ${soonest}, 90 % sure`;
      const likely = dayPartText(forecast.p50, zone, now);
      return soonest === likely ? `empty by ${likely}` : `may be empty by ${soonest}, likely by ${likely}`;
    }
  }
}
