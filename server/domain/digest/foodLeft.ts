import type { FaultKind } from "../faults.ts";
import { roundedGrams } from "../hopper/amount.ts";
import { wantsRefill } from "../hopper/hopperFaults.ts";
import { levelOf } from "../hopper/level.ts";
import { type EmptyForecast, forecastEmpty, runOutWords } from "../hopper/runOut.ts";
import type { Instant } from "../instant.ts";
import { isPaused } from "../orders/standing.ts";
import { type DigestFeeder, isInGarden, isStanding, nameOf, standingFaults } from "./digestFeeder.ts";
import { grouped } from "./screenful.ts";

/** What is left and until when, the soonest empty first. */
export function foodLines(feeders: readonly DigestFeeder[], zone: string, now: Instant): readonly string[] {
  const told = feeders.map((feeder) => {
    const forecast = forecastOf(feeder, now);
    return {
      name: nameOf(feeder),
      words: foodWords(feeder, asksForRefill(feeder, now), forecast, zone, now),
      soonest: soonestOf(forecast),
    };
  });
  return grouped(told.sort((one, other) => one.soonest - other.soonest));
}

/** Whether the digest itself asks for food; where an alarm does, or hides whether any is needed, it needn't. */
export function asksForRefill(feeder: DigestFeeder, now: Instant): boolean {
  const { hopper, settings } = feeder.state;
  if (!isInGarden(feeder.state) || standingFaults(feeder.state).some(asksForFood)) return false;
  return forecastOf(feeder, now).kind === "emptyAt" && wantsRefill(hopper, settings, now);
}

/** Faults whose remedy is a refill, or which hide whether one is needed. */
const asksForFood = (kind: FaultKind): boolean =>
  kind === "foodOut" || kind === "foodLow" || kind === "feedStopped" || kind === "feederSilent";

export const forecastOf = ({ state }: DigestFeeder, now: Instant): EmptyForecast =>
  forecastEmpty(state.hopper, state.settings, now);

const soonestOf = (forecast: EmptyForecast): number =>
  forecast.kind === "emptyAt" ? forecast.p10 : forecast.kind === "unknown" ? neverKnown : hardlyEaten;
/** Past any forecast: whose food isn't known stands before the one that isn't eaten from. */
const neverKnown = 1e15;
const hardlyEaten = 2e15;

/** `asked`: a refill is asked for among what is to be done, and until when it lasts is said there. */
function foodWords(
  { state }: DigestFeeder,
  asked: boolean,
  forecast: EmptyForecast,
  zone: string,
  now: Instant,
): string {
  // What is believed of the food stopped being true when the feeder fell silent.
  if (isStanding(state, "feederSilent")) return "not known while it is silent.";
  const paused = isPaused(state.orders, now) ? "paused; " : "";
  const level = levelOf(state.hopper, state.settings);
  const runOut = runOutWords(forecast, zone, now);
  if (level === null || state.hopper.emptySince !== null) return `${paused}${runOut}.`;
  const about = `${paused}about ${roundedGrams(level.grams)}`;
  return asked ? `${about}, as said above.` : `${about}, ${runOut}.`;
}
