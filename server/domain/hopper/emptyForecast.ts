import { texts } from "../../text/index.ts";
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
import {
  type GramsLeft,
  type GramsLeftPart,
  gramsLeft,
  gramsLeftQuantile,
  probabilityEatenUp,
  restGrams,
} from "./gramsLeft.ts";
import type { LevelHypothesis } from "./hopperState.ts";
import { type HopperState, hopperLevel, learntPortion, weighedLevels, wideningOf } from "./level.ts";
import { portionVariance } from "./levelFilter.ts";

/**
 * When the hopper will be empty, never before now. Only where nothing came any more, or somebody has looked, all three are the moment since
 * when it has been empty.
 */
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
 * clock the level sinks by a gram a gram, with scatter, and the time until it reaches zero is inverse Gaussian. The uncertainty
 * of flock and the days to come is added as diffusion, so that mean and variance of the time are right to first
 * order; what isn't known of the level is a mixture. Then that time is converted by the light and the habits of these birds.
 */
export function forecastEmpty(hopper: HopperState, settings: FeederSettings, now: Instant): EmptyForecast {
  const { emptySince } = hopper;
  if (emptySince !== null && isEmptyShown(hopper))
    return { kind: "emptyAt", p10: emptySince, p50: emptySince, p90: emptySince };
  const decline = levelDecline(hopper, settings, now);
  if (decline.kind !== "declining") return decline;
  const at = (probability: number) =>
    expectedEatenAt(
      decline.forecast,
      settings,
      now,
      gramsLeftQuantile(decline.left, probability, decline.rate * forecastDaysMax),
      forecastDaysMax,
    );
  const p10 = earlier(at(0.1), forecastLimit(hopper, settings, now));
  return { kind: "emptyAt", p10, p50: at(0.5), p90: at(0.9) };
}

/** A level that is as good as nothing is no proof: a scale errs by what some birds eat in days. */
const isEmptyShown = ({ emptyPortions, lastWord, emptySince }: HopperState): boolean =>
  emptyPortions >= certainRun || (lastWord !== null && lastWord.at === emptySince);
/** Empty portions: so many in a row come by nature, with food left, less than once in a hundred (unseenLevel.ts: 0.08 and five times 0.6). */
const certainRun = 6;

/**
 * The latest time of the forecast, whatever the last days were like: until all that may be in the hopper is eaten at a
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
 * Used at every step, so it is cheap, and errs on one side only: where it is false, that time lies further ahead.
 */
export function mayBeEmptyWithin(
  hopper: HopperState,
  settings: FeederSettings,
  horizon: Span,
  probability: number,
  now: Instant,
): boolean {
  if (hopper.emptySince !== null) return true;
  const decline = levelDecline(hopper, settings, now);
  if (decline.kind !== "declining") return decline.kind === "unknown";
  const eaten = expectedEaten(decline.forecast, settings, now, after(now, horizon));
  // A little less than the probability, for the rounding in the forecast.
  return probabilityEatenUp(decline.left, eaten) >= 0.99 * probability;
}

type LevelDecline =
  | Exclude<EmptyForecast, { kind: "emptyAt" }>
  | {
      readonly kind: "declining";
      readonly left: GramsLeft;
      readonly rate: number;
      readonly forecast: AppetiteForecast;
    };

/** Used twice at each step. */
const levelDecline = memoizeLatest(computeLevelDecline);

function computeLevelDecline(hopper: HopperState, settings: FeederSettings, now: Instant): LevelDecline {
  const level = hopperLevel(hopper, settings);
  if (level === null) return { kind: "unknown", missing: "level" };
  const forecast = appetiteForecast(hopper.appetite, settings);
  if (forecast === null)
    return isUnvisited(hopper.appetite) ? { kind: "notEmptying" } : { kind: "unknown", missing: "appetite" };
  const portion = learntPortion(hopper);
  const rest = restGrams(settings);
  const distance = Math.max(level.grams - rest, 0.5 * portion.mean);
  const rate = dailyRate(forecast, daySpanAt(settings, now));
  if (distance > rate * forecastDaysMax) return { kind: "notEmptying" };
  const rateVarianceAt = (grams: number) =>
    forecastVariance(forecast, Math.max(grams / rate, 0.02), grams, portion.mean, portion.spread);
  if (hopper.hypotheses.length > 0) {
    const widening = wideningOf(hopper) ** 2;
    const parts = hopper.hypotheses.map((each) => {
      const part = gramsLeftBy(each, portion.mean, settings);
      return { ...part, variance: widening * part.variance, mayBeEmpty: !hopper.fellSinceWeighed };
    });
    return { kind: "declining", left: gramsLeft(parts, rateVarianceAt), rate, forecast };
  }
  const parts = weighedLevels(hopper, settings).map(({ probability, mean, deviation }) => {
    return { probability, grams: mean - rest, variance: deviation * deviation + rest * rest, mayBeEmpty: false };
  });
  const portionShare = hopper.lastPortionAt === null ? 0 : portionVariance(hopper.estimate) / portion.mean ** 2;
  const left = gramsLeft(parts, (grams) => rateVarianceAt(grams) + portionShare);
  return { kind: "declining", left, rate, forecast };
}

/**
 * By one history. Birds are counted in portions, so that a history of heavier portions has fewer of them left in the same grams, and an
 * error of the portion moves level and appetite together.
 */
function gramsLeftBy(
  { probability, level, portion, covariance }: LevelHypothesis,
  countedPortion: number,
  settings: FeederSettings,
): Omit<GramsLeftPart, "mayBeEmpty"> {
  const [levelVar, both, portionVar] = covariance;
  const rest = restGrams(settings);
  const counted = countedPortion / portion;
  const grams = counted * (level - rest);
  const share = Math.max(level - rest, 0) / portion;
  const variance = levelVar + rest * rest + share * (share * portionVar - 2 * both);
  const least = 0.5 * (levelVar + rest * rest);
  return { probability, grams, variance: counted * counted * Math.max(variance, least) };
}

/**
 * The forecast as a short text for the keeper; `zone` is the yard's IANA zone.
 * @param isAssumed it rests on a weight that was only assumed, which its probability doesn't cover
 */
export function runOutText(forecast: EmptyForecast, zone: string, now: Instant, isAssumed = false): string {
  const text = texts.food;
  switch (forecast.kind) {
    case "unknown":
      return text.unknown[forecast.missing];
    case "notEmptying":
      return text.notEmptying;
    case "emptyAt": {
      if (forecast.p90 <= now) return text.emptySince(dayPartText(forecast.p50, zone, now));
      const early = dayPartText(forecast.p10, zone, now);
      if (forecast.p10 - now > days(1)) return (isAssumed ? text.enoughUntil : text.veryLikelyEnoughUntil)(early);
      const probable = dayPartText(forecast.p50, zone, now);
      return early === probable ? text.emptyBy(probable) : text.mayBeEmptyBy(early, probable);
    }
  }
}
