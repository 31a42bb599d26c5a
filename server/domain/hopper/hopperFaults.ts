import type { Evidence, Fault } from "../faults.ts";
import { after, hours, type Instant, minutes, type Span } from "../instant.ts";
import { dayPartText } from "../localTime.ts";
import type { FeederSettings } from "../settings.ts";
import { probability } from "../units.ts";
import { hasComparedDays } from "./appetite.ts";
import { type EmptyForecast, forecastEmpty, mayBeEmptyWithin } from "./emptyForecast.ts";
import { foodText } from "./foodText.ts";
import { gramsRangeText, gramsText } from "./gramsText.ts";
import { emptyThreshold, type HopperLevel, type HopperState, hopperLevel } from "./level.ts";

/**
 * Whether the food ends within the keeper's warning span, as it was last reckoned. A forecast is the dearest thing that is
 * reckoned of a feeder, and ripens over hours: so it is made anew every ten minutes, and not at each report.
 */
export interface HopperForecast {
  readonly at: Instant;
  readonly level: number; // g, believed to be left then
  readonly horizon: Span; // how far it looked
  readonly foodLowFault: Fault | null;
}

/** A refill, or food that went otherwise than by portions, is no matter of ten minutes. */
const forecastAgeMax = minutes(10);
const levelChangeMax = 0.02; // of the capacity

/** `foodLowSince`: when the alarm was raised that stands already. Null where there is nothing to foresee: it is empty. */
export function updateHopperForecast(
  before: HopperForecast | null,
  hopper: HopperState,
  settings: FeederSettings,
  now: Instant,
  foodLowSince: Instant | null,
): HopperForecast | null {
  if (hopper.emptySince !== null) return null;
  const ahead = (forecastWidening(hopper, foodLowSince) * settings.foodWarningAhead) as Span;
  const { level } = hopper.estimate;
  const holds =
    before !== null &&
    now < after(before.at, forecastAgeMax) &&
    before.horizon === ahead &&
    Math.abs(level - before.level) <= levelChangeMax * settings.hopperCapacity;
  return holds ? before : { at: now, level, horizon: ahead, foodLowFault: foodLowFault(hopper, settings, now, ahead) };
}

/**
 * The daily digest asks for food before the alarm must: by so much that a keeper who refills on the evening of the day on which
 * it asked hears no alarm. To fill a hopper is a daily round's work, and an alarm is for what can't wait for one.
 */
const digestHorizon = hours(36); // from one digest to the evening after the next

/** Whether the digest should ask for food today. */
export function needsRefillToday(hopper: HopperState, settings: FeederSettings, now: Instant): boolean {
  return forecastWithin(hopper, settings, (settings.foodWarningAhead + digestHorizon) as Span, now) !== null;
}

/** What is wrong with the hopper's content as reckoned, and as foreseen. */
export function hopperFaults(
  hopper: HopperState,
  settings: FeederSettings,
  now: Instant,
  foresight: HopperForecast | null,
): readonly Fault[] {
  const level = hopperLevel(hopper, settings);
  if (level === null) return [];
  if (hopper.emptySince !== null) return [foodOutFault(hopper, level, hopper.emptySince, settings, now)];
  return foresight === null || foresight.foodLowFault === null ? [] : [foresight.foodLowFault];
}

/**
 * By how much the warning span grows where the alarm stands. Food isn't less low because the birds were lazy for an evening: until
 * somebody refills, it takes twice the span to clear it; then a quarter more, so that a forecast at the border doesn't flicker.
 */
function forecastWidening({ foundRefill, refillReportedAt }: HopperState, since: Instant | null): number {
  if (since === null) return 1;
  const refilled =
    (foundRefill !== null && foundRefill.at > since) || (refillReportedAt !== null && refillReportedAt > since);
  return refilled ? 1.25 : 2;
}

function foodOutFault(
  hopper: HopperState,
  level: HopperLevel,
  since: Instant,
  settings: FeederSettings,
  now: Instant,
): Fault {
  const sign = hopper.weighedAt === null ? "by the portions given since the last refill" : "by the scale";
  return {
    kind: "foodOut",
    reason: `The hopper is empty ${sign}: at most ${gramsText(level.high)} are left, since ${dayPartText(since, settings.zone, now)}.`,
    evidence: [
      ...levelEvidence(hopper, level),
      { label: "counted as empty below", value: gramsText(emptyThreshold(settings)), at: null },
    ],
    confidence: probability(0.95), // the whole 90 % interval lies below the mark, so 5 % lie above it
  };
}

function foodLowFault(hopper: HopperState, settings: FeederSettings, now: Instant, ahead: Span): Fault | null {
  const level = hopperLevel(hopper, settings);
  if (level === null) return null;
  const forecast = forecastWithin(hopper, settings, ahead, now);
  if (forecast === null) return null;
  if (forecast.kind === "emptyAt") {
    const words = foodText(forecast, hopper, settings, now);
    return {
      kind: "foodLow",
      reason: `About ${gramsText(level.grams)} are left: ${words}.`,
      evidence: [
        ...levelEvidence(hopper, level),
        { label: "may be empty (1 in 10)", value: dayPartText(forecast.p10, settings.zone, now), at: forecast.p10 },
        { label: "as likely empty as not", value: dayPartText(forecast.p50, settings.zone, now), at: forecast.p50 },
      ],
      confidence: null,
    };
  }
  // Nothing is known yet about the appetite: then the level alone must do.
  const tenth = 0.1 * (ahead / settings.foodWarningAhead) * settings.hopperCapacity;
  if (level.grams <= tenth) {
    return {
      kind: "foodLow",
      reason: `About ${gramsText(level.grams)} are left, less than a tenth of the hopper. It is too early to say how long that lasts.`,
      evidence: levelEvidence(hopper, level),
      confidence: null,
    };
  }
  return null;
}

/** The forecast where it says that the food may end within `ahead`, or says nothing yet; else null. */
function forecastWithin(
  hopper: HopperState,
  settings: FeederSettings,
  ahead: Span,
  now: Instant,
): Extract<EmptyForecast, { kind: "emptyAt" | "unknown" }> | null {
  // Before two days could be compared p10 is near by what we don't know of these birds, not by what they eat: then it is
  // told what is as likely as not.
  const early = !hasComparedDays(hopper.appetite);
  if (!mayBeEmptyWithin(hopper, settings, ahead, early ? 0.5 : 0.1, now)) return null;
  const forecast = forecastEmpty(hopper, settings, now);
  switch (forecast.kind) {
    case "emptyAt":
      return (early ? forecast.p50 : forecast.p10) - now <= ahead ? forecast : null;
    case "unknown":
      return forecast;
    case "notEmptying":
      return null;
  }
}

const levelEvidence = (hopper: HopperState, level: HopperLevel): readonly Evidence[] => [
  {
    label: "in the hopper",
    value: `${gramsText(level.grams)} (${gramsRangeText(level.low, level.high)})`,
    at: hopper.weighedAt,
  },
];
