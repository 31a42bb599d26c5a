import type { FaultKind } from "../faults.ts";
import { type FoodOutlook, foodOutlook } from "../foodOutlook.ts";
import { gramsText } from "../hopper/gramsText.ts";
import { needsRefillToday } from "../hopper/hopperFaults.ts";
import { hopperLevel } from "../hopper/level.ts";
import type { Instant } from "../instant.ts";
import { isPaused } from "../orders/pauseStatus.ts";
import { type DigestFeeder, isInGarden, isStanding, nameOf, standingFaults } from "./digestFeeder.ts";
import { groupLines } from "./limitLines.ts";

/** What is left and until when, the soonest empty first. */
export function foodLines(feeders: readonly DigestFeeder[], now: Instant): readonly string[] {
  const told = feeders.map((feeder) => {
    const outlook = foodOutlook(feeder.state, now);
    return {
      name: nameOf(feeder),
      text: foodLeftText(feeder, needsRefill(feeder, now), outlook, now),
      soonest: emptyAtSortKey(outlook),
    };
  });
  return groupLines(told.sort((one, other) => one.soonest - other.soonest));
}

/** Whether the digest itself asks for food; where an alarm does, or hides whether any is needed, it needn't. */
export function needsRefill(feeder: DigestFeeder, now: Instant): boolean {
  const { hopper, settings } = feeder.state;
  if (!isInGarden(feeder.state) || standingFaults(feeder.state).some(isFoodFault)) return false;
  return foodOutlook(feeder.state, now).forecast.kind === "emptyAt" && needsRefillToday(hopper, settings, now);
}

/** Faults whose remedy is a refill, or which hide whether one is needed. */
const isFoodFault = (kind: FaultKind): boolean =>
  kind === "foodOut" || kind === "foodLow" || kind === "feedStopped" || kind === "feederSilent";

const emptyAtSortKey = ({ forecast }: FoodOutlook): number =>
  forecast.kind === "emptyAt" ? forecast.p10 : forecast.kind === "unknown" ? unknownSortKey : notEatenSortKey;
/** Past any forecast: whose food isn't known stands before the one that isn't eaten from. */
const unknownSortKey = 1e15;
const notEatenSortKey = 2e15;

/** `asked`: a refill is asked for among what is to be done, and until when it lasts is said there. */
function foodLeftText({ state }: DigestFeeder, asked: boolean, { text }: FoodOutlook, now: Instant): string {
  // What is believed of the food stopped being true when the feeder fell silent.
  if (isStanding(state, "feederSilent")) return "not known while it is silent.";
  const paused = isPaused(state.orders, now) ? "paused; " : "";
  const level = hopperLevel(state.hopper, state.settings);
  if (level === null || state.hopper.emptySince !== null) return `${paused}${text}.`;
  const about = `${paused}about ${gramsText(level.grams)}`;
  return asked ? `${about}, as said above.` : `${about}, ${text}.`;
}
