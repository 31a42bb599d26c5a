import { gramsText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { FaultKind } from "../faults.ts";
import { type FoodOutlook, foodOutlook } from "../foodOutlook.ts";
import { needsRefillToday } from "../hopper/hopperFaults.ts";
import { hopperLevel } from "../hopper/level.ts";
import type { Instant } from "../instant.ts";
import { isPaused } from "../orders/pauseStatus.ts";
import { type DigestFeeder, isInGarden, isStanding, nameOf, standingFaults } from "./digestFeeder.ts";
import { groupLines } from "./limitLines.ts";

/** How much food is left and for how long, the first to be empty first. */
export function foodLines(feeders: readonly DigestFeeder[], now: Instant): readonly string[] {
  const entries = feeders.map((feeder) => {
    const outlook = foodOutlook(feeder.state, now);
    return {
      name: nameOf(feeder),
      text: foodLeftText(feeder, needsRefill(feeder, now), outlook, now),
      soonest: emptyAtSortKey(outlook),
    };
  });
  return groupLines(entries.sort((one, other) => one.soonest - other.soonest));
}

/** Whether the digest asks for a refill; not where an alarm does, or hides whether one is needed. */
export function needsRefill(feeder: DigestFeeder, now: Instant): boolean {
  const { hopper, settings } = feeder.state;
  if (!isInGarden(feeder.state) || standingFaults(feeder.state).some(isFoodFault)) return false;
  return foodOutlook(feeder.state, now).forecast.kind === "emptyAt" && needsRefillToday(hopper, settings, now);
}

/** Faults that a refill ends, or that hide whether one is needed. */
const isFoodFault = (kind: FaultKind): boolean =>
  kind === "foodOut" || kind === "foodLow" || kind === "feedStopped" || kind === "feederSilent";

const emptyAtSortKey = ({ forecast }: FoodOutlook): number =>
  forecast.kind === "emptyAt" ? forecast.p10 : forecast.kind === "unknown" ? unknownSortKey : notEatenSortKey;
/** After any forecast: unknown food levels come before feeders that are not eaten from. */
const unknownSortKey = 1e15;
const notEatenSortKey = 2e15;

/** `hasTask`: a refill is one of the tasks, and the forecast is given there. */
function foodLeftText({ state }: DigestFeeder, hasTask: boolean, { text }: FoodOutlook, now: Instant): string {
  const { about, forecast, notKnown, pausedForecast, seeAbove } = texts.digest.food;
  // Without reports the estimate of the food is out of date.
  if (isStanding(state, "feederSilent")) return notKnown;
  const food = isPaused(state.orders, now) ? pausedForecast : forecast;
  const level = hopperLevel(state.hopper, state.settings);
  if (level === null || state.hopper.emptySince !== null) return food(text);
  return food(about(gramsText(level.grams), hasTask ? seeAbove : text));
}
