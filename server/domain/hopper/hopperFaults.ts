import { gramsRangeText, gramsText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { Evidence, Fault } from "../faults.ts";
import { after, hours, type Instant, minutes, type Span } from "../instant.ts";
import { dayPartText } from "../localTime.ts";
import type { FeederSettings } from "../settings.ts";
import { probability } from "../units.ts";
import { hasComparedDays } from "./appetite.ts";
import { type EmptyForecast, forecastEmpty, mayBeEmptyWithin } from "./emptyForecast.ts";
import { foodText } from "./foodText.ts";
import { emptyThreshold, type HopperLevel, type HopperState, hopperLevel } from "./level.ts";

/**
 * Whether the food ends within the keeper's warning span, as last calculated. A forecast is the most expensive calculation for
 * a feeder, and changes over hours: so it is made every ten minutes, and not at each report.
 */
export interface HopperForecast {
  readonly at: Instant;
  readonly level: number; // g, told then
  readonly horizon: Span; // how far it looked
  readonly foodLowFault: Fault | null;
}

/** A refill or a spill is shown sooner. */
const forecastAgeMax = minutes(10);
const levelChangeMax = 0.02; // of the capacity

/** `foodLowSince`: when the active alarm was raised. Null where the hopper is empty: there is nothing to forecast. */
export function updateHopperForecast(
  before: HopperForecast | null,
  hopper: HopperState,
  settings: FeederSettings,
  now: Instant,
  foodLowSince: Instant | null,
): HopperForecast | null {
  if (hopper.emptySince !== null) return null;
  const horizon = (forecastWidening(hopper, foodLowSince) * settings.foodWarningAhead) as Span;
  const level = hopperLevel(hopper, settings)?.grams ?? hopper.estimate.level; // as it is told
  const isValid =
    before !== null &&
    now < after(before.at, forecastAgeMax) &&
    before.horizon === horizon &&
    Math.abs(level - before.level) <= levelChangeMax * settings.hopperCapacity;
  return isValid ? before : { at: now, level, horizon, foodLowFault: foodLowFault(hopper, settings, now, horizon) };
}

/**
 * The daily digest asks for food before the alarm is raised: a keeper who refills by the evening of that day gets no alarm. A
 * refill is part of a daily round, and an alarm is for what can't wait for one.
 */
const digestHorizon = hours(36); // from one digest to the evening after the next

/** Whether the digest should ask for food today. */
export function needsRefillToday(hopper: HopperState, settings: FeederSettings, now: Instant): boolean {
  return forecastWithin(hopper, settings, (settings.foodWarningAhead + digestHorizon) as Span, now) !== null;
}

/** Faults of the hopper's content now and by the forecast. `fellAt`: when the newest portion fell; null where it did not. */
export function hopperFaults(
  hopper: HopperState,
  settings: FeederSettings,
  now: Instant,
  forecast: HopperForecast | null,
  fellAt: Instant | null = null,
): readonly Fault[] {
  const level = hopperLevel(hopper, settings);
  if (level === null) return [];
  const { emptySince } = hopper;
  if (emptySince !== null) {
    const stillFalls = fellAt !== null && fellAt > emptySince;
    return [foodOutFault(hopper, level, settings, emptyText({ hopper, level, emptySince, stillFalls }, settings, now))];
  }
  return forecast === null || forecast.foodLowFault === null ? [] : [forecast.foodLowFault];
}

/**
 * By how much the warning span grows while the alarm is active. Food isn't less low because birds ate little for an evening:
 * until a refill it takes twice the span to clear it; then a quarter more, so that the alarm doesn't flicker.
 */
function forecastWidening({ foundRefill, refillReportedAt }: HopperState, since: Instant | null): number {
  if (since === null) return 1;
  const isRefilled =
    (foundRefill !== null && foundRefill.at > since) || (refillReportedAt !== null && refillReportedAt > since);
  return isRefilled ? 1.25 : 2;
}

interface EmptyHopper {
  readonly hopper: HopperState;
  readonly level: HopperLevel;
  readonly emptySince: Instant;
  readonly stillFalls: boolean; // the newest portion fell
}

function emptyText(
  { hopper, level, emptySince, stillFalls }: EmptyHopper,
  settings: FeederSettings,
  now: Instant,
): string {
  const source = hopper.weighedAt === null ? "portions" : "scale";
  const most = gramsText(level.high);
  if (stillFalls) return texts.hopper.stillFalls[source](most);
  const text = level.high <= 2 * settings.portionMass ? texts.hopper.empty : texts.hopper.asGoodAsEmpty;
  return text[source](most, dayPartText(emptySince, settings.zone, now));
}

function foodOutFault(hopper: HopperState, level: HopperLevel, settings: FeederSettings, reason: string): Fault {
  return {
    kind: "foodOut",
    reason,
    evidence: [
      ...levelEvidence(hopper, level),
      { label: texts.hopper.emptyLimitLabel, value: gramsText(emptyThreshold(settings)), at: null },
    ],
    confidence: probability(0.95), // the whole 90 % interval lies below the limit, so 5 % lie above it
  };
}

/** Spans: where the median lies beyond them p10 is early by what isn't known, and the days to come will show more. Our choice. */
const medianWithin = 2;

function foodLowFault(hopper: HopperState, settings: FeederSettings, now: Instant, horizon: Span): Fault | null {
  const level = hopperLevel(hopper, settings);
  if (level === null) return null;
  const forecast = forecastWithin(hopper, settings, horizon, now);
  if (forecast === null) return null;
  if (forecast.kind !== "emptyAt") return lowLevelFault(hopper, level, settings, horizon);
  const isRaised = horizon > settings.foodWarningAhead;
  if (!isRaised && forecast.p50 - now > medianWithin * horizon) return null;
  const evidence = (label: string, at: Instant) => ({ label, value: dayPartText(at, settings.zone, now), at });
  return {
    kind: "foodLow",
    reason: texts.hopper.low(gramsText(level.grams), foodText(forecast, hopper, settings, now)),
    evidence: [
      ...levelEvidence(hopper, level),
      evidence(texts.hopper.possiblyEmptyLabel, forecast.p10),
      evidence(texts.hopper.probablyEmptyLabel, forecast.p50),
    ],
    confidence: null,
  };
}

/** The appetite isn't known yet: the level alone decides. */
function lowLevelFault(
  hopper: HopperState,
  level: HopperLevel,
  { foodWarningAhead, hopperCapacity }: FeederSettings,
  horizon: Span,
): Fault | null {
  const lowLevel = 0.1 * (horizon / foodWarningAhead) * hopperCapacity;
  if (level.grams > lowLevel) return null;
  const isUnderTenth = level.grams <= 0.1 * hopperCapacity; // an active alarm looks further ahead
  return {
    kind: "foodLow",
    reason: (isUnderTenth ? texts.hopper.lowWithoutForecast : texts.hopper.littleWithoutForecast)(
      gramsText(level.grams),
    ),
    evidence: levelEvidence(hopper, level),
    confidence: null,
  };
}

/** The forecast where it says that the food may end within `ahead`, or is unknown; else null. */
function forecastWithin(
  hopper: HopperState,
  settings: FeederSettings,
  horizon: Span,
  now: Instant,
): Extract<EmptyForecast, { kind: "emptyAt" | "unknown" }> | null {
  // Before two days could be compared p10 is early because little is known of these birds: then the median decides.
  const hasFewDays = !hasComparedDays(hopper.appetite);
  if (!mayBeEmptyWithin(hopper, settings, horizon, hasFewDays ? 0.5 : 0.1, now)) return null;
  const forecast = forecastEmpty(hopper, settings, now);
  switch (forecast.kind) {
    case "emptyAt":
      if (hopper.emptySince !== null) return forecast;
      return (hasFewDays ? forecast.p50 : forecast.p10) - now <= horizon ? forecast : null;
    case "unknown":
      return forecast;
    case "notEmptying":
      return null;
  }
}

const levelEvidence = (hopper: HopperState, level: HopperLevel): readonly Evidence[] => [
  {
    label: texts.hopper.levelLabel,
    value: texts.hopper.levelWithRange(gramsText(level.grams), gramsRangeText(level.low, level.high)),
    at: hopper.weighedAt,
  },
];
