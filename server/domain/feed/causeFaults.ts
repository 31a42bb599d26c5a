import { gramsRangeText, gramsText } from "../../text/format.ts";
import type { Evidence, Fault, FaultKind } from "../faults.ts";
import { emptyThreshold, type HopperLevel } from "../hopper/level.ts";
import { type Instant, minutes } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { probability } from "../units.ts";
import { type Cause, type CauseProbability, causeProbabilities } from "./causeProbabilities.ts";
import { causesText, indistinguishableText, stopEvidenceText } from "./causeText.ts";
import { type FeedDiagnosis, settlingPortions, sureCause, totalProbability } from "./feedDiagnosis.ts";
import type { FeedState } from "./feedState.ts";
import { usualCurrent } from "./motorModel.ts";

const faultKindByCause = {
  hopperEmpty: "foodOut",
  feedBridged: "feedBridged",
  trayJammed: "trayJammed",
  motorStalled: "motorStalled",
  motorNotTurning: "motorNotTurning",
  chuteBlind: "chuteBlind",
  chuteHalfBlind: "chuteBlind",
  scaleStuck: "scaleSilent",
} as const satisfies Record<Cause, FaultKind>;

/** The tests don't model wear and weather: a probability is never shown higher than this. */
const shownProbabilityMax = 0.99;
/** A cause less likely than this isn't named beside others. */
const namedProbabilityMin = 0.05;
/** A cause that only a missing sensor could exclude is named even so. */
const openProbabilityMin = 0.01;
/**
 * One more portion may decide between causes, so the alarm waits for it, at most so long: birds may be gone for the day, and
 * deposits stay unpaid meanwhile.
 */
const diagnosisWaitMax = minutes(15);

/** What is wrong with the feed itself, at most one thing. `level`: in the hopper now. */
export function causeFaults(
  feed: FeedState,
  level: HopperLevel | null,
  settings: FeederSettings,
  now: Instant,
): readonly Fault[] {
  const { diagnosis } = feed;
  if (diagnosis === null) return [];
  const lowestLevel = lowerLevel(level, feed.levelAtPortion);
  const probabilities = causeProbabilities(feed.statistics, lowestLevel, settings, feed.scale.hasJumpedDown);
  const cause = sureCause(probabilities, diagnosis, settings.sensors.scale);
  if (isRefilledSince(feed, level, settings) && !isMotorOrSensorCause(cause)) return [];
  if (cause === null) {
    return isWaiting(feed, diagnosis, settings, now)
      ? []
      : [unsureFeedFault(feed, probabilities, lowestLevel, settings)];
  }
  const totalChance = totalProbability(probabilities, (other) => faultKindByCause[other] === faultKindByCause[cause]);
  const fault: Fault = {
    kind: faultKindByCause[cause],
    reason: `${causeReason(cause, feed, lowestLevel, settings)}${openCausesText(cause, probabilities, feed, settings)}`,
    evidence: causeEvidence(feed, lowestLevel),
    confidence: probability(Math.min(totalChance, shownProbabilityMax)),
  };
  return [fault];
}

/** The scale may have shown since the last portion that food is gone. That it was refilled, the next portion will show. */
function lowerLevel(now: HopperLevel | null, levelAtPortion: HopperLevel | null): HopperLevel | null {
  if (now === null || levelAtPortion === null) return now ?? levelAtPortion;
  return now.grams < levelAtPortion.grams ? now : levelAtPortion;
}

const isMotorOrSensorCause = (cause: Cause | null): boolean =>
  cause === "motorStalled" ||
  cause === "motorNotTurning" ||
  cause === "chuteBlind" ||
  cause === "chuteHalfBlind" ||
  cause === "scaleStuck";

function isRefilledSince(feed: FeedState, level: HopperLevel | null, settings: FeederSettings): boolean {
  const levelAtPortion = feed.levelAtPortion;
  return (
    levelAtPortion !== null && level !== null && level.low > Math.max(levelAtPortion.high, emptyThreshold(settings))
  );
}

function isWaiting(feed: FeedState, diagnosis: FeedDiagnosis, settings: FeederSettings, now: Instant): boolean {
  if (
    diagnosis.cause !== null ||
    diagnosis.portionsSince >= settlingPortions ||
    now - diagnosis.since >= diagnosisWaitMax
  )
    return false;
  return usualCurrent(feed.motor) !== null || (settings.sensors.chute && settings.sensors.scale);
}

function unsureFeedFault(
  feed: FeedState,
  probabilities: readonly CauseProbability[],
  level: HopperLevel | null,
  settings: FeederSettings,
): Fault {
  const open = probabilities.filter(({ probability }) => probability >= namedProbabilityMin).map(({ cause }) => cause);
  const unknown = level === null ? ", and nothing is known about the hopper's level" : "";
  const levelText =
    level !== null && open.includes("hopperEmpty")
      ? ` The hopper is calculated to hold ${gramsRangeText(level.low, level.high)}.`
      : "";
  const indistinguishable = indistinguishableText(
    probabilities.filter(({ probability }) => probability >= openProbabilityMin).map(({ cause }) => cause),
    feed,
    settings,
  );
  return {
    kind: "feedStopped",
    reason: `${stopEvidenceText(feed, settings)}${unknown}: ${causesText(open)}.${levelText}${indistinguishable === "" ? " The cause is not clear yet." : indistinguishable}`,
    evidence: causeEvidence(feed, level),
    confidence: probability(
      Math.min(
        probabilities.reduce((sum, { probability }) => sum + (probability >= namedProbabilityMin ? probability : 0), 0),
        shownProbabilityMax,
      ),
    ),
  };
}

// --- texts ---------------------------------------------------------------------------------------------------------

function causeReason(cause: Cause, feed: FeedState, level: HopperLevel | null, settings: FeederSettings): string {
  switch (cause) {
    case "hopperEmpty":
      return emptyHopperText(stopEvidenceText(feed, settings), level, settings);
    case "feedBridged":
    case "trayJammed":
      return noFoodText(cause, feed, level, settings);
    case "motorStalled":
      return `The motor draws ${currentText(feed)}: it is blocked.`;
    case "motorNotTurning":
      return `The motor was switched on but drew only ${currentText(feed)}: it isn't turning. Likely a wire or plug.`;
    case "chuteBlind":
      return `The chute sensor saw nothing of the last ${feed.uncountedPortions} portions, yet ${foodFallsText(feed, settings)}: food falls, the sensor doesn't see it.`;
    case "chuteHalfBlind":
      return `The chute sensor misses many of the portions lately, yet ${foodFallsText(feed, settings)}: food falls, the sensor sees only some of it.`;
    case "scaleStuck":
      return settings.sensors.chute
        ? "The chute sensor sees food fall, but the scale doesn't grow lighter by it: the scale is stuck or broken."
        : "The scale doesn't grow lighter by the portions given, but the motor draws what it does with food on the tray: the scale is stuck or broken.";
  }
}

/** "60 mA instead of about 120 mA"; empty where that isn't known. */
function currentText({ motor }: FeedState): string {
  const drawn = motor.lastMilliamps;
  const usual = usualCurrent(motor);
  return drawn === null || usual === null
    ? ""
    : `${roundedMilliamps(drawn)} instead of about ${roundedMilliamps(usual)}`;
}

function noFoodText(
  cause: "feedBridged" | "trayJammed",
  feed: FeedState,
  level: HopperLevel | null,
  settings: FeederSettings,
): string {
  const levelText = level === null ? "" : `, and the hopper isn't empty (about ${gramsText(level.grams)})`;
  const current = currentText(feed);
  const turns = cause === "feedBridged" ? "turns lightly" : "turns";
  const motorText = current === "" ? "" : `. The motor ${turns}, it draws ${current}`;
  const conclusion =
    cause === "feedBridged"
      ? "the tray turns without food, the food is stuck above it"
      : "something is stuck in the tray";
  return `${stopEvidenceText(feed, settings)}${levelText}${motorText}: ${conclusion}.`;
}

function emptyHopperText(stopEvidence: string, level: HopperLevel | null, settings: FeederSettings): string {
  if (level === null) return `${stopEvidence}: the food has run out.`;
  if (level.high <= 2 * emptyThreshold(settings))
    return `${stopEvidence}: the hopper is empty (at most ${gramsText(level.high)} left).`;
  // By calculation alone the end comes a few portions early or late; food that stops falling just then has run out.
  return `${stopEvidence}, and by calculation the hopper is nearly empty (${gramsRangeText(level.low, level.high)}): the food has run out.`;
}

function foodFallsText(feed: FeedState, settings: FeederSettings): string {
  const current = usualCurrent(feed.motor) !== null;
  if (settings.sensors.scale)
    return current
      ? "the hopper grew lighter and the motor works as with food"
      : "the hopper grew lighter by about as much";
  return current ? "the motor draws what it does with food on the tray" : "others between them were seen as usual";
}

function openCausesText(
  cause: Cause,
  probabilities: readonly CauseProbability[],
  feed: FeedState,
  settings: FeederSettings,
): string {
  const open = probabilities.filter(({ probability }) => probability >= openProbabilityMin).map((other) => other.cause);
  return indistinguishableText(open.includes(cause) ? open : [cause, ...open], feed, settings);
}

function causeEvidence(feed: FeedState, level: HopperLevel | null): readonly Evidence[] {
  const evidence: Evidence[] = [];
  const { motor, uncountedPortions, lastFellAt, lastPortionAt, diagnosis } = feed;
  if (uncountedPortions > 0)
    evidence.push({ label: "portions in a row without food", value: `${uncountedPortions}`, at: lastPortionAt });
  if (lastFellAt !== null)
    evidence.push({ label: "food last seen to fall", value: "by the chute sensor", at: lastFellAt });
  const usual = usualCurrent(motor);
  if (usual !== null && motor.lastMilliamps !== null) {
    const value = `${roundedMilliamps(motor.lastMilliamps)}, usually ${roundedMilliamps(usual)}`;
    evidence.push({ label: "motor current", value, at: lastPortionAt });
  }
  if (feed.scale.readingAt !== null) {
    evidence.push({
      label: "weight by the scale",
      value: `${Math.round(feed.scale.level)} g`,
      at: feed.scale.readingAt,
    });
  }
  const levelText =
    level === null ? "not known" : `${gramsText(level.grams)} (${gramsRangeText(level.low, level.high)})`;
  evidence.push({ label: "in the hopper at the last portion", value: levelText, at: null });
  evidence.push({ label: "noticed", value: "by all sensors together", at: diagnosis?.since ?? null });
  return evidence;
}

const roundedMilliamps = (current: number) =>
  current >= 100 ? `${Math.round(current / 10) * 10} mA` : `${Math.round(current)} mA`;
