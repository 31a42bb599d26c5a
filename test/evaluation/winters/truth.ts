import { type FaultKind, faultsStoppingFood } from "../../../server/domain/faults.ts";
import { before, hours, type Instant } from "../../../server/domain/instant.ts";
import { humidClimate, weatherAt } from "../../../server/practice/model/weather.ts";
import type { Disturbance } from "../../simulator/plot.ts";
import type { Incident } from "./incidents.ts";
import type { WatchedFeeder } from "./watchedFeeder.ts";

/** What was true when somebody was notified. */

const noFoodFalls: readonly FaultKind[] = [...faultsStoppingFood, "depositUnpaid"];

/** Which alarms speak of what: the right name or one of its family, under which a person finds it at once. */
const family: Readonly<Record<Disturbance, readonly FaultKind[]>> = {
  hopperEmpty: [...noFoodFalls, "foodLow"],
  feedBridged: noFoodFalls,
  trayJammed: noFoodFalls,
  trayPartlyJammed: ["chuteBlind", ...noFoodFalls],
  motorStalled: noFoodFalls,
  wireOff: noFoodFalls,
  chuteBlind: ["chuteBlind", ...noFoodFalls],
  chuteHalfBlind: ["chuteBlind", ...noFoodFalls],
  chuteDirty: ["chuteBlind", ...noFoodFalls],
  scaleStuck: ["scaleSilent", "readingStuck"],
  scaleDead: ["scaleSilent", "readingStuck"],
  buttonDead: ["buttonSilent"],
  buttonChatters: ["sensorChattering"],
  detectorDeaf: ["detectorSilent", "detectorDrifting"],
  detectorDead: ["detectorSilent", "detectorDrifting"],
  perchDead: ["perchSilent"],
  thermometerStuck: ["readingStuck"],
  silent: ["feederSilent"],
  lineDown: ["feederSilent"],
  powerCut: ["feederSilent"],
};

export const faultsOfIncident = (fault: FaultKind, { kind }: Incident): boolean => family[kind.mishap].includes(fault);

/**
 * Whether there was something to act on: `hand` where only a person could mend or fill it, `itself` where it was truly wrong but
 * would pass, such as a line that was down; null where nothing was wrong.
 */
export function actualCause(
  fault: FaultKind,
  feeders: readonly WatchedFeeder[],
  yardIncident: Incident | null,
  now: Instant,
): "hand" | "itself" | null {
  const own = feeders.flatMap(({ broken }) => (broken !== null && faultsOfIncident(fault, broken) ? [broken] : []));
  if (own.some(({ lasts }) => lasts === null)) return "hand";
  if (feeders.some((feeder) => lacksFood(fault, feeder) || isIced(fault, feeder, now))) return "hand";
  const passing = own.length > 0 || (yardIncident !== null && faultsOfIncident(fault, yardIncident));
  return passing ? "itself" : null;
}

/**
 * Empty, or worth the way: what is left is eaten within two usual days (the birds' own pace, which the server must learn), or the
 * hopper is less than a quarter full.
 */
function lacksFood(fault: FaultKind, { living, plot: { birds, food } }: WatchedFeeder): boolean {
  const { emptySince, grams } = living.truth();
  if (emptySince !== null) return fault === "foodLow" || noFoodFalls.includes(fault);
  if (fault !== "foodLow" && fault !== "foodOut") return false;
  return grams < Math.max(2 * birds.portionsPerDay * food.portionGrams, food.capacityGrams / 4);
}

/** The simulated tray doesn't freeze; but water may have been there within a day, and frost is here now. */
function isIced(fault: FaultKind, { plot }: WatchedFeeder, now: Instant): boolean {
  if (fault !== "iceLock") return false;
  const sky = (at: Instant) => weatherAt(plot.weatherSeed ?? plot.seed, plot.place, at, humidClimate);
  if (sky(now).lidCelsius > -0.5) return false;
  for (let back = 1; back <= 30; back += 1) if (sky(before(now, hours(back))).lidCelsius > 0.2) return true;
  return false;
}
