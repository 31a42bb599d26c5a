import { gramsRangeText, gramsText, numberText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { Evidence, Fault, FaultKind } from "../faults.ts";
import { emptyThreshold, type HopperLevel } from "../hopper/level.ts";
import { hours, type Instant, minutes, type Span } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { probability } from "../units.ts";
import { type Cause, type CauseProbability, causeProbabilities } from "./causeProbabilities.ts";
import { causesText, indistinguishableTexts, isThinned, piecesTexts, stopEvidenceText } from "./causeText.ts";
import { fewerPieces } from "./chuteModel.ts";
import { type CurrentSign, currentSign, currentSignText } from "./currentSign.ts";
import { type FeedDiagnosis, settlingPortions, sureCause, totalProbability } from "./feedDiagnosis.ts";
import type { FeedState } from "./feedState.ts";
import { isProvenByCurrent, usualCurrent } from "./motorModel.ts";

const faultKindByCause = {
  hopperEmpty: "foodOut",
  feedBridged: "feedBridged",
  trayJammed: "trayJammed",
  trayPartlyJammed: "trayJammed",
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
const thinnedWaitMax = hours(6);
const thinnedPortionsMax = 12; // portions
/** A few small portions in a row are small to the chute sensor and to the scale alike, and no bird that comes shows more. Our choice. */
const thinnedPortionsMin = 4; // portions
/**
 * Below a bridge the throat empties over some portions, which looks like a jam in part of the tray until nothing falls any more: the next
 * few portions tell one from the other. Our choice.
 */
const throatWaitMax = hours(2);
const throatPortionsMax = 8; // portions

/**
 * Sun, damp and falling snow move a scale for some hours as fast as birds eat, and a cell's own drift grows with kilos on it. Where nothing
 * else shows whether food falls, so long a time must show it. Common practice, no source.
 */
const scaleAloneWait = hours(3);

const isByScaleAloneYet = ({ motor }: FeedState, { since }: FeedDiagnosis, { sensors }: FeederSettings, now: Instant) =>
  sensors.scale && !sensors.chute && motor.lastMilliamps === null && now - since < scaleAloneWait;

/** What is wrong with the feed itself, at most one thing. `level`: in the hopper now. */
export function causeFaults(
  feed: FeedState,
  level: HopperLevel | null,
  settings: FeederSettings,
  now: Instant,
): readonly Fault[] {
  const { diagnosis } = feed;
  if (diagnosis === null || isByScaleAloneYet(feed, diagnosis, settings, now)) return [];
  const lowestLevel = lowerLevel(level, feed.levelAtPortion);
  const probabilities = causeProbabilities(feed, lowestLevel, settings);
  const cause = sureCause(probabilities, diagnosis, settings.sensors.scale);
  if (isRefilledSince(feed, level, settings) && !isMotorOrSensorCause(cause)) return [];
  const mayFallStill = isThinned(feed) || hasJustFallen(feed, now);
  if (cause === "trayPartlyJammed" && mayFallStill && isNotToldYet(diagnosis, now)) return [];
  if (cause === null) {
    return isWaiting(feed, probabilities, settings, now)
      ? []
      : [unsureFeedFault(feed, probabilities, lowestLevel, settings)];
  }
  const totalChance = totalProbability(probabilities, (other) => faultKindByCause[other] === faultKindByCause[cause]);
  const fault: Fault = {
    kind: faultKindByCause[cause],
    reason: [
      causeReason(cause, feed, lowestLevel, settings),
      ...openCausesTexts(cause, probabilities, { feed, level: lowestLevel }, settings),
    ].join(" "),
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

function isWaiting(
  feed: FeedState,
  probabilities: readonly CauseProbability[],
  settings: FeederSettings,
  now: Instant,
): boolean {
  const { diagnosis } = feed;
  if (diagnosis === null) return false;
  if (diagnosis.cause !== null && !(diagnosis.cause === "trayPartlyJammed" && isNotToldYet(diagnosis, now)))
    return false;
  // Where something still falls, the scale has the time to show how much.
  if (isThinned(feed) && settings.sensors.scale) return isNotToldYet(diagnosis, now);
  if (mayBeThroat(probabilities) && hasJustFallen(feed, now)) return true;
  if (!isWithin(diagnosis, settlingPortions, diagnosisWaitMax, now)) return false;
  return usualCurrent(feed.motor) !== null || (settings.sensors.chute && settings.sensors.scale);
}

const isWithin = ({ portionsSince, since }: FeedDiagnosis, portionsMax: number, waitMax: Span, now: Instant): boolean =>
  portionsSince < portionsMax && now - since < waitMax;

/** Of what lets a part of each portion fall. */
const isNotToldYet = (diagnosis: FeedDiagnosis, now: Instant): boolean =>
  diagnosis.portionsSince < thinnedPortionsMin || isWithin(diagnosis, thinnedPortionsMax, thinnedWaitMax, now);

const hasJustFallen = ({ uncountedPortions, lastFellAt }: FeedState, now: Instant): boolean =>
  uncountedPortions < throatPortionsMax && lastFellAt !== null && now - lastFellAt < throatWaitMax;

const mayBeThroat = (probabilities: readonly CauseProbability[]): boolean =>
  (["feedBridged", "trayPartlyJammed"] as const).every((one) =>
    probabilities.some(({ cause, probability }) => cause === one && probability >= namedProbabilityMin),
  );

function unsureFeedFault(
  feed: FeedState,
  probabilities: readonly CauseProbability[],
  level: HopperLevel | null,
  settings: FeederSettings,
): Fault {
  const open = probabilities.filter(({ probability }) => probability >= namedProbabilityMin).map(({ cause }) => cause);
  const text = texts.feed;
  const evidence = stopEvidenceText(feed, settings);
  const levelTexts =
    level !== null && open.includes("hopperEmpty") ? [text.calculatedLevel(gramsRangeText(level.low, level.high))] : [];
  const indistinguishable = indistinguishableTexts(
    probabilities.filter(({ probability }) => probability >= openProbabilityMin).map(({ cause }) => cause),
    feed,
    level,
    settings,
  );
  return {
    kind: isThinned(feed) ? "chuteBlind" : "feedStopped",
    reason: doesFallAgain(feed, settings)
      ? text.fallsAgain.unsure
      : [
          (level === null ? text.unsureWithoutLevel : text.unsure)(evidence, causesText(open)),
          ...levelTexts,
          ...(indistinguishable.length === 0 ? [text.causeNotClear] : indistinguishable),
        ].join(" "),
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
    case "feedBridged":
    case "trayJammed":
      return stopReason(cause, feed, level, settings);
    case "trayPartlyJammed":
      return doesFallAgain(feed, settings) ? texts.feed.fallsAgain.trayJammed : partOfPortionText(feed, settings);
    case "motorStalled":
    case "motorNotTurning":
      return motorText(cause, feed);
    case "chuteBlind":
    case "chuteHalfBlind":
      return blindReason(cause, feed, settings);
    case "scaleStuck":
      return stuckScaleText(feed, settings);
  }
}

function partOfPortionText(feed: FeedState, settings: FeederSettings): string {
  const { weighed, counted } = texts.feed.trayPartlyJammed;
  return (settings.sensors.scale ? weighed : counted)(stopEvidenceText(feed, settings));
}

function stopReason(
  cause: "hopperEmpty" | "feedBridged" | "trayJammed",
  feed: FeedState,
  level: HopperLevel | null,
  settings: FeederSettings,
): string {
  // An empty hopper gives the last of its food now and then.
  const isPast = cause === "hopperEmpty" && didNewestFall(feed, settings);
  if (isPast || doesFallAgain(feed, settings)) return texts.feed.fallsAgain[cause];
  return cause === "hopperEmpty"
    ? emptyHopperText(stopEvidenceText(feed, settings), level, settings)
    : noFoodText(cause, feed, level, settings);
}

function stuckScaleText({ motor }: FeedState, { sensors }: FeederSettings): string {
  const { scaleStuckByChute, scaleStuckByMotor, scaleStuckByPortions } = texts.feed;
  if (sensors.chute) return scaleStuckByChute;
  return currentSign(motor)?.isAsWithFood === true ? scaleStuckByMotor : scaleStuckByPortions;
}

/** A sensor that has seen one of the last few portions isn't said to see nothing. */
function blindReason(cause: "chuteBlind" | "chuteHalfBlind", feed: FeedState, settings: FeederSettings): string {
  const text = texts.feed;
  const fewer = fewerPieces(feed.chute);
  if (cause === "chuteBlind" && feed.uncountedPortions === 0 && fewer === null) return text.chuteWasBlind;
  if (isProofMissing(feed, settings)) return text.chuteMayBeBlind;
  const proof = foodFallsText(feed, settings);
  if (cause === "chuteBlind" && feed.uncountedPortions >= blindRunMin)
    return text.chuteBlind(feed.uncountedPortions, proof);
  return fewer === null ? text.chuteHalfBlind(proof) : text.chuteSeesLess(...piecesTexts(fewer), proof);
}
const blindRunMin = 3; // portions

/**
 * The newest portion spoke against the fault, which is over once the next one does, too: until then no reason says that nothing falls.
 * By weight alone a reading that wobbles is no sign.
 */
function doesFallAgain(feed: FeedState, settings: FeederSettings): boolean {
  const { healthEvidence } = feed.diagnosis ?? { healthEvidence: 0 };
  return settings.sensors.chute
    ? healthEvidence < 0 && didNewestFall(feed, settings)
    : healthEvidence < lighterEvidence;
}
const didNewestFall = ({ lastFellAt, lastPortionAt }: FeedState, { sensors }: FeederSettings): boolean =>
  sensors.chute && lastFellAt !== null && lastFellAt === lastPortionAt;
const lighterEvidence = -1; // our choice

/** A cause stays until food falls again (feedDiagnosis.ts): by then the motor may draw what it usually does, or nothing may be known of it. */
function motorText(cause: "motorStalled" | "motorNotTurning", feed: FeedState): string {
  const sign = currentSign(feed.motor);
  if (
    isProvenByCurrent(feed.motor, cause) &&
    sign !== null &&
    (cause === "motorStalled" ? sign.isHigher : sign.isLower)
  )
    return texts.feed[cause](currentSignText(sign));
  return cause === "motorStalled" ? texts.feed.motorWasStalled : texts.feed.motorWasNotTurning;
}

function noFoodText(
  cause: "feedBridged" | "trayJammed",
  feed: FeedState,
  level: HopperLevel | null,
  settings: FeederSettings,
): string {
  const stopped = stopEvidenceText(feed, settings);
  const evidence = level === null ? stopped : texts.feed.notEmpty(stopped, gramsText(level.grams));
  const { reason, reasonWithCurrent } = texts.feed[cause];
  const sign = currentSign(feed.motor);
  return sign !== null && isSignOf(cause, sign) ? reasonWithCurrent(evidence, currentSignText(sign)) : reason(evidence);
}

const isSignOf = (cause: "feedBridged" | "trayJammed", { isLower, isHigher }: CurrentSign): boolean =>
  cause === "feedBridged" ? isLower : isHigher;

function emptyHopperText(stopEvidence: string, level: HopperLevel | null, settings: FeederSettings): string {
  const { unknownLevel, empty, nearlyEmpty } = texts.feed.hopperEmpty;
  if (level === null) return unknownLevel(stopEvidence);
  if (level.high <= 2 * emptyThreshold(settings)) return empty(stopEvidence, gramsText(level.high));
  // By calculation alone the end comes a few portions early or late; food that stops falling just then has run out.
  return nearlyEmpty(stopEvidence, gramsRangeText(level.low, level.high));
}

/** The scale, which should show that food falls, has not shown it lately: snow gathers on the lid, or the food has ended meanwhile. */
function isProofMissing({ scale, statistics }: FeedState, { sensors }: FeederSettings): boolean {
  if (!sensors.scale) return false;
  const ifStopped = statistics.trayJammed.scaleEstimate?.level ?? scale.level;
  return scale.readingAt === null || ifStopped - scale.level <= lighterShareMin * scale.meanPortion;
}
const lighterShareMin = 0.1; // of a portion; our choice

function foodFallsText({ motor }: FeedState, { sensors }: FeederSettings): string {
  const { lighterAndCurrent, lighter, current, currents, others } = texts.feed.proof;
  const isLastAsWithFood = currentSign(motor)?.isAsWithFood === true;
  if (sensors.scale) return isLastAsWithFood ? lighterAndCurrent : lighter;
  if (isLastAsWithFood) return current;
  return usualCurrent(motor) === null ? others : currents;
}

function openCausesTexts(
  cause: Cause,
  probabilities: readonly CauseProbability[],
  { feed, level }: { readonly feed: FeedState; readonly level: HopperLevel | null },
  settings: FeederSettings,
): readonly string[] {
  const open = probabilities.filter(({ probability }) => probability >= openProbabilityMin).map((other) => other.cause);
  return indistinguishableTexts(open.includes(cause) ? open : [cause, ...open], feed, level, settings);
}

function causeEvidence(feed: FeedState, level: HopperLevel | null): readonly Evidence[] {
  const evidence: Evidence[] = [];
  const { labels, byChuteSensor, byAllSensors, currentBeside, levelUnknown } = texts.feed;
  const { motor, uncountedPortions, lastFellAt, lastPortionAt, diagnosis } = feed;
  if (uncountedPortions > 0)
    evidence.push({ label: labels.uncounted, value: numberText(uncountedPortions), at: lastPortionAt });
  if (lastFellAt !== null) evidence.push({ label: labels.lastFell, value: byChuteSensor, at: lastFellAt });
  const sign = currentSign(motor);
  if (sign !== null) {
    const value = currentBeside(sign.drawn, sign.usual);
    evidence.push({ label: labels.motorCurrent, value, at: lastPortionAt });
  }
  if (feed.scale.readingAt !== null) {
    evidence.push({
      label: labels.weight,
      value: texts.units.grams(numberText(feed.scale.level)),
      at: feed.scale.readingAt,
    });
  }
  const levelText =
    level === null
      ? levelUnknown
      : texts.hopper.levelWithRange(gramsText(level.grams), gramsRangeText(level.low, level.high));
  evidence.push({ label: labels.level, value: levelText, at: null });
  evidence.push({ label: labels.noticed, value: byAllSensors, at: diagnosis?.since ?? null });
  return evidence;
}
