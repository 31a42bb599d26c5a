import type { FeederSettings } from "../feeder.ts";
import { after, days, type Instant, inDays, type Span } from "../instant.ts";
import { dayPartWords } from "../localTime.ts";
import { hourLong, hourOf } from "./activity.ts";
import { type EatingRate, eatingRate } from "./appetite.ts";
import { type FirstPassage, firstPassageChance, firstPassageQuantile } from "./inverseGaussian.ts";
import { type HopperLevel, type HopperState, levelOf, ninetyPercent, portionOf } from "./level.ts";

/** When the hopper will be empty. Where it is empty already all three are the moment since when. */
export type EmptyForecast =
  | { readonly kind: "unknown"; readonly missing: "level" | "appetite" }
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
 * The level is taken as a Brownian motion that sinks by a day's appetite, and the time until it reaches zero is inverse
 * Gaussian. Doubt about the level and about the rate is folded in as more diffusion, so that mean and variance of the
 * time come out right (first order in both doubts); days are then laid onto the hours at which these birds eat.
 */
export function forecastEmpty(hopper: HopperState, settings: FeederSettings, now: Instant): EmptyForecast {
  if (hopper.emptySince !== null) {
    return { kind: "emptyAt", p10: hopper.emptySince, p50: hopper.emptySince, p90: hopper.emptySince };
  }
  const sinking = sinkingOf(hopper, settings);
  if (sinking.kind !== "sinking") return sinking;
  const at = (chance: number) =>
    laidOnHours(Math.min(firstPassageQuantile(sinking.passage, chance), forecastDaysMax), sinking.hourShares, now);
  return { kind: "emptyAt", p10: at(0.1), p50: at(0.5), p90: at(0.9) };
}

/**
 * Whether the forecast's `chance` (0.1 for p10, 0.5 for p50) may lie within so much time from now, or may not be known.
 * Asked at every step, so it is cheap, and errs on one side only: where it says no, that time lies further ahead.
 */
export function mayBeEmptyWithin(hopper: HopperState, settings: FeederSettings, ahead: Span, chance: number): boolean {
  if (hopper.emptySince !== null) return true;
  const sinking = sinkingOf(hopper, settings);
  if (sinking.kind !== "sinking") return sinking.kind === "unknown";
  // Whole days hold every hour once, so no more meals than this fit in, whichever hours these birds keep. Asked for a
  // little less than the chance, for the roundings on the way to the forecast.
  return firstPassageChance(sinking.passage, Math.ceil(inDays(ahead))) >= 0.99 * chance;
}

type Sinking =
  | Exclude<EmptyForecast, { kind: "emptyAt" }>
  | { readonly kind: "sinking"; readonly passage: FirstPassage; readonly hourShares: readonly number[] };

function sinkingOf(hopper: HopperState, settings: FeederSettings): Sinking {
  const level = levelOf(hopper, settings);
  if (level === null) return { kind: "unknown", missing: "level" };
  const portion = portionOf(hopper);
  const rate = eatingRate(hopper.appetite, portion.mean, portion.spread, settings);
  if (rate === null) return { kind: "unknown", missing: "appetite" };
  const distance = Math.max(level.grams, 0.5 * portion.mean);
  if (distance > rate.mean * forecastDaysMax) return { kind: "notEmptying" };
  const diffusion = rate.variance + doubtAsDiffusion(hopper, level, distance, rate);
  const passage = { distance, drift: rate.mean, spread: Math.sqrt(diffusion) };
  return { kind: "sinking", passage, hourShares: rate.hourShares };
}

/**
 * g² per day. For T = L/μ to first order: var T = L·σ²/μ³ + var(L)/μ² + L²·var(μ)/μ⁴ − 2·L·cov(L, μ)/μ³. Put on the form
 * L·σe²/μ³, the last three are what the doubts add to σ². Where portions are counted, a portion heavier than thought makes
 * both the level lower and the appetite larger: the two errors go together.
 */
function doubtAsDiffusion(hopper: HopperState, level: HopperLevel, distance: number, rate: EatingRate): number {
  const { portion, portionVariance, covariance } = hopper.belief;
  const counted = hopper.lastPortionAt !== null;
  const drift = rate.mean;
  const levelVariance = ((level.high - level.low) / (2 * ninetyPercent)) ** 2;
  const rateVariance = rate.meanVariance + (counted ? (portionVariance * drift * drift) / (portion * portion) : 0);
  const together = counted ? (covariance * drift) / portion : 0;
  return (levelVariance * drift) / distance + (distance * rateVariance) / drift + Math.max(0, -2 * together);
}

/** The same in a few words for the keeper; `zone` is the yard's IANA zone. */
export function runOutWords(forecast: EmptyForecast, zone: string, now: Instant): string {
  switch (forecast.kind) {
    case "unknown":
      return forecast.missing === "level"
        ? "no word yet on how much is in it: weigh it or enter a refill"
        : "too early to say how long it lasts";
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

/** So many days' meals from now on, eaten in the hours in which these birds eat. */
function laidOnHours(meals: number, shares: readonly number[], now: Instant): Instant {
  let left = meals - Math.floor(meals); // whole days contain every hour once
  let at = after(now, days(Math.floor(meals)));
  for (let step = 0; step < 25; step += 1) {
    const share = shares[hourOf(at)] ?? 1 / 24;
    const rest = hourLong - (at % hourLong);
    const eaten = (share * rest) / hourLong;
    if (eaten >= left) return after(at, Math.round((left / share) * hourLong) as Span);
    left -= eaten;
    at = after(at, rest as Span);
  }
  return at;
}
