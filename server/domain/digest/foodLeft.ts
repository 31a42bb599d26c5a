import type { FaultKind } from "../faults.ts";
import { type FoodOutlook, foodOutlook } from "../foodOutlook.ts";
import { roundedGrams } from "../hopper/amount.ts";
import { wantsRefill } from "../hopper/hopperFaults.ts";
import { levelOf } from "../hopper/level.ts";
import type { Instant } from "../instant.ts";
import { isPaused } from "../orders/standing.ts";
import { type DigestFeeder, isInGarden, isStanding, nameOf, standingFaults } from "./digestFeeder.ts";
import { grouped } from "./screenful.ts";

/** What is left and until when, the soonest empty first. */
export function foodLines(feeders: readonly DigestFeeder[], now: Instant): readonly string[] {
  const told = feeders.map((feeder) => {
    const outlook = foodOutlook(feeder.state, now);
    return {
      name: nameOf(feeder),
      words: foodLeftWords(feeder, asksForRefill(feeder, now), outlook, now),
      soonest: soonestOf(outlook),
    };
  });
  return grouped(told.sort((one, other) => one.soonest - other.soonest));
}

/** Whether the digest itself asks for food; where an alarm does, or hides whether any is needed, it needn't. */
export function asksForRefill(feeder: DigestFeeder, now: Instant): boolean {
  const { hopper, settings } = feeder.state;
  if (!isInGarden(feeder.state) || standingFaults(feeder.state).some(asksForFood)) return false;
  return foodOutlook(feeder.state, now).forecast.kind === "emptyAt" && wantsRefill(hopper, settings, now);
}

/** Faults whose remedy is a refill, or which hide whether one is needed. */
const asksForFood = (kind: FaultKind): boolean =>
  kind === "foodOut" || kind === "foodLow" || kind === "feedStopped" || kind === "feederSilent";

const soonestOf = ({ forecast }: FoodOutlook): number =>
  forecast.kind === "emptyAt" ? forecast.p10 : forecast.kind === "unknown" ? neverKnown : hardlyEaten;
/** Past any forecast: whose food isn't known stands before the one that isn't eaten from. */
const neverKnown = 1e15;
const hardlyEaten = 2e15;

/** `asked`: a refill is asked for among what is to be done, and until when it lasts is said there. */
function foodLeftWords({ state }: DigestFeeder, asked: boolean, { words }: FoodOutlook, now: Instant): string {
  // What is believed of the food stopped being true when the feeder fell silent.
  if (isStanding(state, "feederSilent")) return "not known while it is silent.";
  const paused = isPaused(state.orders, now) ? "paused; " : "";
  const level = levelOf(state.hopper, state.settings);
  if (level === null || state.hopper.emptySince !== null) return `${paused}${words}.`;
  const about = `${paused}about ${roundedGrams(level.grams)}`;
  return asked ? `${about}, as said above.` : `${about}, ${words}.`;
}
