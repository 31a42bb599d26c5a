import type { Evidence, Fault } from "../faults.ts";
import type { FeederSettings } from "../feeder.ts";
import type { Instant, Span } from "../instant.ts";
import { dayPartWords } from "../localTime.ts";
import { probability } from "../units.ts";
import { gramsRange, roundedGrams } from "./amount.ts";
import { daysCompared } from "./appetite.ts";
import { emptyMark, type HopperLevel, type HopperState, levelOf } from "./level.ts";
import { forecastEmpty, mayBeEmptyWithin, runOutWords } from "./runOut.ts";

/** What is wrong with the hopper's content as reckoned. `foodLowSince`: when the alarm was raised that stands already. */
export function hopperFaults(
  hopper: HopperState,
  settings: FeederSettings,
  now: Instant,
  foodLowSince: Instant | null = null,
): readonly Fault[] {
  const level = levelOf(hopper, settings);
  if (level === null) return [];
  if (hopper.emptySince !== null) return [foodOut(hopper, level, hopper.emptySince, settings, now)];
  const low = foodLow(hopper, level, settings, now, wideningOf(hopper, foodLowSince));
  return low === null ? [] : [low];
}

/**
 * By how much the warning span grows where the alarm stands. Food isn't less low because the birds were lazy for an evening: until
 * somebody refills, it takes twice the span to clear it; then a quarter more, so that a forecast at the border doesn't flicker.
 */
function wideningOf({ found, toldAt }: HopperState, since: Instant | null): number {
  if (since === null) return 1;
  const refilled = (found !== null && found.at > since) || (toldAt !== null && toldAt > since);
  return refilled ? 1.25 : 2;
}

function foodOut(
  hopper: HopperState,
  level: HopperLevel,
  since: Instant,
  settings: FeederSettings,
  now: Instant,
): Fault {
  const sign = hopper.weighedAt === null ? "by the portions given since the last refill" : "by the scale";
  return {
    kind: "foodOut",
    reason: `The hopper is empty ${sign}: at most ${roundedGrams(level.high)} are left, since ${dayPartWords(since, settings.zone, now)}.`,
    evidence: [
      ...levelEvidence(hopper, level),
      { what: "counted as empty below", value: roundedGrams(emptyMark(settings)), at: null },
    ],
    sure: probability(0.95), // the whole 90 % interval lies below the mark, so 5 % lie above it
  };
}

function foodLow(
  hopper: HopperState,
  level: HopperLevel,
  settings: FeederSettings,
  now: Instant,
  widening: number,
): Fault | null {
  // Before two days could be compared p10 is near by what we don't know of these birds, not by what they eat: then it is
  // told what is as likely as not.
  const early = !daysCompared(hopper.appetite);
  const ahead = (widening * settings.warnAhead) as Span;
  if (!mayBeEmptyWithin(hopper, settings, ahead, early ? 0.5 : 0.1, now)) return null;
  const forecast = forecastEmpty(hopper, settings, now);
  if (forecast.kind === "emptyAt" && (early ? forecast.p50 : forecast.p10) - now <= ahead) {
    const words = runOutWords(forecast, settings.zone, now);
    return {
      kind: "foodLow",
      reason: `About ${roundedGrams(level.grams)} are left: ${words}.`,
      evidence: [
        ...levelEvidence(hopper, level),
        { what: "may be empty (1 in 10)", value: dayPartWords(forecast.p10, settings.zone, now), at: forecast.p10 },
        { what: "as likely empty as not", value: dayPartWords(forecast.p50, settings.zone, now), at: forecast.p50 },
      ],
      sure: null,
    };
  }
  // Nothing is known yet about the appetite: then the level alone must do.
  const tenth = 0.1 * widening * settings.hopperCapacity;
  if (forecast.kind === "unknown" && level.grams <= tenth) {
    return {
      kind: "foodLow",
      reason: `About ${roundedGrams(level.grams)} are left, less than a tenth of the hopper. It is too early to say how long that lasts.`,
      evidence: levelEvidence(hopper, level),
      sure: null,
    };
  }
  return null;
}

const levelEvidence = (hopper: HopperState, level: HopperLevel): readonly Evidence[] => [
  {
    what: "in the hopper",
    value: `${roundedGrams(level.grams)} (${gramsRange(level.low, level.high)})`,
    at: hopper.weighedAt,
  },
];
