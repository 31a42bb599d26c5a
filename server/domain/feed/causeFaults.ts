import type { Evidence, Fault, FaultKind } from "../faults.ts";
import { gramsRangeText, gramsText } from "../hopper/gramsText.ts";
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

/** What the sequential tests are worth once wear and weather have their say: never more than this. */
const probabilityShownMax = 0.99;
/** What is less likely than this isn't worth the keeper's time as long as something else is wrong. */
const probabilityNamedMin = 0.05;
/** What looks the same but for a missing sensor is worth a word even so. */
const probabilityOpenMin = 0.01;
/**
 * Where a portion or two more may tell what is wrong, the name is waited for so long; a promise that is being broken is
 * told then, named or not. Birds may be gone for the day, so a quarter of an hour is enough as well.
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
  const known = lowerLevel(level, feed.levelAtPortion);
  const likely = causeProbabilities(feed.statistics, known, settings, feed.scale.hasJumpedDown);
  const name = sureCause(likely, diagnosis, settings.sensors.scale);
  if (isRefilledSince(feed, level, settings) && !isMotorOrSensorCause(name)) return [];
  if (name === null) {
    return isWaiting(feed, diagnosis, settings, now) ? [] : [unsureFeedFault(feed, likely, known, settings)];
  }
  const chance = totalProbability(likely, (one) => faultKindByCause[one] === faultKindByCause[name]);
  const fault: Fault = {
    kind: faultKindByCause[name],
    reason: `${causeReason(name, feed, known, settings)}${openCausesText(name, likely, feed, settings)}`,
    evidence: causeEvidence(feed, known, likely),
    confidence: probability(Math.min(chance, probabilityShownMax)),
  };
  return [fault];
}

/** The scale may have seen since the last portion that food is gone; that it has come, the next portion will show. */
function lowerLevel(now: HopperLevel | null, then: HopperLevel | null): HopperLevel | null {
  if (now === null || then === null) return now ?? then;
  return now.grams < then.grams ? now : then;
}

const isMotorOrSensorCause = (name: Cause | null): boolean =>
  name === "motorStalled" ||
  name === "motorNotTurning" ||
  name === "chuteBlind" ||
  name === "chuteHalfBlind" ||
  name === "scaleStuck";

function isRefilledSince(feed: FeedState, level: HopperLevel | null, settings: FeederSettings): boolean {
  const then = feed.levelAtPortion;
  return then !== null && level !== null && level.low > Math.max(then.high, emptyThreshold(settings));
}

function isWaiting(feed: FeedState, verdict: FeedDiagnosis, settings: FeederSettings, now: Instant): boolean {
  if (verdict.cause !== null || verdict.portionsSince >= settlingPortions || now - verdict.since >= diagnosisWaitMax)
    return false;
  return usualCurrent(feed.motor) !== null || (settings.sensors.chute && settings.sensors.scale);
}

function unsureFeedFault(
  feed: FeedState,
  likely: readonly CauseProbability[],
  level: HopperLevel | null,
  settings: FeederSettings,
): Fault {
  const open = likely.filter(({ probability }) => probability >= probabilityNamedMin).map(({ cause }) => cause);
  const unknown = level === null ? ", and nothing is known about the hopper's level" : "";
  const holds =
    level !== null && open.includes("hopperEmpty")
      ? ` The hopper is reckoned to hold ${gramsRangeText(level.low, level.high)}.`
      : "";
  const same = indistinguishableText(
    likely.filter(({ probability }) => probability >= probabilityOpenMin).map(({ cause }) => cause),
    feed,
    settings,
  );
  return {
    kind: "feedStopped",
    reason: `${stopEvidenceText(feed, settings)}${unknown}: ${causesText(open)}.${holds}${same === "" ? " It is too early to tell which." : same}`,
    evidence: causeEvidence(feed, level, likely),
    confidence: probability(
      Math.min(
        likely.reduce((sum, { probability }) => sum + (probability >= probabilityNamedMin ? probability : 0), 0),
        probabilityShownMax,
      ),
    ),
  };
}

// --- words ---------------------------------------------------------------------------------------------------------

function causeReason(name: Cause, feed: FeedState, level: HopperLevel | null, settings: FeederSettings): string {
  const sign = stopEvidenceText(feed, settings);
  const drawn = feed.motor.lastMilliamps;
  const usual = usualCurrent(feed.motor);
  const known = drawn !== null && usual !== null;
  const amps = known ? `${roundedMilliamps(drawn)} instead of about ${roundedMilliamps(usual)}` : "";
  const holds = level === null ? "" : `, and the hopper isn't empty (about ${gramsText(level.grams)})`;
  switch (name) {
    case "hopperEmpty":
      return emptyHopperText(sign, level, settings);
    case "feedBridged":
      return `${sign}${holds}${known ? `. The motor turns lightly, it draws ${amps}` : ""}: the tray runs empty, the food has bridged above it.`;
    case "trayJammed":
      return `${sign}${holds}${known ? `. The motor turns, it draws ${amps}` : ""}: something is wedged in the tray.`;
    case "motorStalled":
      return `The motor draws ${amps}: it is held fast.`;
    case "motorNotTurning":
      return `The motor was switched on but drew only ${amps}: it isn't turning. Likely a wire or plug.`;
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

function emptyHopperText(sign: string, level: HopperLevel | null, settings: FeederSettings): string {
  if (level === null) return `${sign}: the food has run out.`;
  if (level.high <= 2 * emptyThreshold(settings))
    return `${sign}: the hopper is empty (at most ${gramsText(level.high)} left).`;
  // By reckoning alone the end comes a few portions early or late; food that stops falling just then has run out.
  return `${sign}, and by reckoning the hopper is nearly empty (${gramsRangeText(level.low, level.high)}): the food has run out.`;
}

function foodFallsText(feed: FeedState, settings: FeederSettings): string {
  const current = usualCurrent(feed.motor) !== null;
  if (settings.sensors.scale)
    return current
      ? "the hopper grew lighter and the motor works as if loaded"
      : "the hopper grew lighter by about as much";
  return current ? "the motor draws what it does with food on the tray" : "others between them were seen as usual";
}

function openCausesText(
  name: Cause,
  likely: readonly CauseProbability[],
  feed: FeedState,
  settings: FeederSettings,
): string {
  const open = likely.filter(({ probability }) => probability >= probabilityOpenMin).map((one) => one.cause);
  return indistinguishableText(open.includes(name) ? open : [name, ...open], feed, settings);
}

function causeEvidence(
  feed: FeedState,
  level: HopperLevel | null,
  likely: readonly CauseProbability[],
): readonly Evidence[] {
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
  const holds = level === null ? "not known" : `${gramsText(level.grams)} (${gramsRangeText(level.low, level.high)})`;
  evidence.push({ label: "in the hopper at the last portion", value: holds, at: null });
  evidence.push({ label: "noticed", value: "by all sensors together", at: diagnosis?.since ?? null });
  for (const { cause, probability } of likely) {
    if (probability >= probabilityOpenMin)
      evidence.push({ label: `chance that ${causesText([cause])}`, value: percent(probability), at: null });
  }
  return evidence;
}

const percent = (chance: number) => (chance > probabilityShownMax ? "over 99 %" : `${Math.round(100 * chance)} %`);

const roundedMilliamps = (current: number) =>
  current >= 100 ? `${Math.round(current / 10) * 10} mA` : `${Math.round(current)} mA`;
