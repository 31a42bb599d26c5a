import type { Evidence, Fault, FaultKind } from "../faults.ts";
import { gramsRange, roundedGrams } from "../hopper/amount.ts";
import { emptyMark, type HopperLevel } from "../hopper/level.ts";
import { type Instant, minutes } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { probability } from "../units.ts";
import type { FeedState } from "./feedState.ts";
import { usualCurrent } from "./motorCurrent.ts";
import { type Likely, likelyNames, type Name } from "./naming.ts";
import { chanceOf, nameIn, settles, type Verdict } from "./verdict.ts";
import { looksTheSame, namesOr, signOfStop } from "./words.ts";

const kindOf = {
  empty: "foodOut",
  bridged: "feedBridged",
  jammed: "trayJammed",
  stalled: "motorStalled",
  still: "motorNotTurning",
  blind: "chuteBlind",
  halfBlind: "chuteBlind",
  scaleStuck: "scaleSilent",
} as const satisfies Record<Name, FaultKind>;

/** What the sequential tests are worth once wear and weather have their say: never more than this. */
const sureMax = 0.99;
/** What is less likely than this isn't worth the keeper's time as long as something else is wrong. */
const worthNaming = 0.05;
/** What looks the same but for a missing sensor is worth a word even so. */
const barely = 0.01;
/**
 * Where a portion or two more may tell what is wrong, the name is waited for so long; a promise that is being broken is
 * told then, named or not. Birds may be gone for the day, so a quarter of an hour is enough as well.
 */
const waitMost = minutes(15);

/** What is wrong with the feed itself, at most one thing. `level`: in the hopper now. */
export function causeFaults(
  feed: FeedState,
  level: HopperLevel | null,
  settings: FeederSettings,
  now: Instant,
): readonly Fault[] {
  const { verdict } = feed;
  if (verdict === null) return [];
  const known = lower(level, feed.levelAtPortion);
  const likely = likelyNames(feed.suspicions, known, settings, feed.scale.sprang);
  const name = nameIn(likely, verdict, settings.sensors.scale);
  if (refilledSince(feed, level, settings) && !ofMotorOrSensor(name)) return [];
  if (name === null) {
    return waits(feed, verdict, settings, now) ? [] : [unsureFault(feed, likely, known, settings)];
  }
  const chance = chanceOf(likely, (one) => kindOf[one] === kindOf[name]);
  const fault: Fault = {
    kind: kindOf[name],
    reason: `${reasonFor(name, feed, known, settings)}${stillOpen(name, likely, feed, settings)}`,
    evidence: evidenceOf(feed, known, likely),
    sure: probability(Math.min(chance, sureMax)),
  };
  return [fault];
}

/** The scale may have seen since the last portion that food is gone; that it has come, the next portion will show. */
function lower(now: HopperLevel | null, then: HopperLevel | null): HopperLevel | null {
  if (now === null || then === null) return now ?? then;
  return now.grams < then.grams ? now : then;
}

const ofMotorOrSensor = (name: Name | null): boolean =>
  name === "stalled" || name === "still" || name === "blind" || name === "halfBlind" || name === "scaleStuck";

function refilledSince(feed: FeedState, level: HopperLevel | null, settings: FeederSettings): boolean {
  const then = feed.levelAtPortion;
  return then !== null && level !== null && level.low > Math.max(then.high, emptyMark(settings));
}

function waits(feed: FeedState, verdict: Verdict, settings: FeederSettings, now: Instant): boolean {
  if (verdict.named !== null || verdict.portions >= settles || now - verdict.since >= waitMost) return false;
  return usualCurrent(feed.motor) !== null || (settings.sensors.chute && settings.sensors.scale);
}

function unsureFault(
  feed: FeedState,
  likely: readonly Likely[],
  level: HopperLevel | null,
  settings: FeederSettings,
): Fault {
  const open = likely.filter(({ chance }) => chance >= worthNaming).map(({ name }) => name);
  const unknown = level === null ? ", and nothing is known about the hopper's level" : "";
  const holds =
    level !== null && open.includes("empty")
      ? ` The hopper is reckoned to hold ${gramsRange(level.low, level.high)}.`
      : "";
  const same = looksTheSame(
    likely.filter(({ chance }) => chance >= barely).map(({ name }) => name),
    feed,
    settings,
  );
  return {
    kind: "feedStopped",
    reason: `${signOfStop(feed, settings)}${unknown}: ${namesOr(open)}.${holds}${same === "" ? " It is too early to tell which." : same}`,
    evidence: evidenceOf(feed, level, likely),
    sure: probability(
      Math.min(
        likely.reduce((sum, { chance }) => sum + (chance >= worthNaming ? chance : 0), 0),
        sureMax,
      ),
    ),
  };
}

// --- words ---------------------------------------------------------------------------------------------------------

function reasonFor(name: Name, feed: FeedState, level: HopperLevel | null, settings: FeederSettings): string {
  const sign = signOfStop(feed, settings);
  const drawn = feed.motor.lastMilliamps;
  const usual = usualCurrent(feed.motor);
  const known = drawn !== null && usual !== null;
  const amps = known ? `${roundedMilliamps(drawn)} instead of about ${roundedMilliamps(usual)}` : "";
  const holds = level === null ? "" : `, and the hopper isn't empty (about ${roundedGrams(level.grams)})`;
  switch (name) {
    case "empty":
      return emptyWords(sign, level, settings);
    case "bridged":
      return `${sign}${holds}${known ? `. The motor turns lightly, it draws ${amps}` : ""}: the tray runs empty, the food has bridged above it.`;
    case "jammed":
      return `${sign}${holds}${known ? `. The motor turns, it draws ${amps}` : ""}: something is wedged in the tray.`;
    case "stalled":
      return `The motor draws ${amps}: it is held fast.`;
    case "still":
      return `The motor was switched on but drew only ${amps}: it isn't turning. Likely a wire or plug.`;
    case "blind":
      return `The chute sensor saw nothing of the last ${feed.uncountedRun} portions, yet ${foodFalls(feed, settings)}: food falls, the sensor doesn't see it.`;
    case "halfBlind":
      return `The chute sensor misses many of the portions lately, yet ${foodFalls(feed, settings)}: food falls, the sensor sees only some of it.`;
    case "scaleStuck":
      return settings.sensors.chute
        ? "The chute sensor sees food fall, but the scale doesn't grow lighter by it: the scale is stuck or broken."
        : "The scale doesn't grow lighter by the portions given, but the motor draws what it does with food on the tray: the scale is stuck or broken.";
  }
}

function emptyWords(sign: string, level: HopperLevel | null, settings: FeederSettings): string {
  if (level === null) return `${sign}: the food has run out.`;
  if (level.high <= 2 * emptyMark(settings))
    return `${sign}: the hopper is empty (at most ${roundedGrams(level.high)} left).`;
  // By reckoning alone the end comes a few portions early or late; food that stops falling just then has run out.
  return `${sign}, and by reckoning the hopper is nearly empty (${gramsRange(level.low, level.high)}): the food has run out.`;
}

function foodFalls(feed: FeedState, settings: FeederSettings): string {
  const current = usualCurrent(feed.motor) !== null;
  if (settings.sensors.scale)
    return current
      ? "the hopper grew lighter and the motor works as if loaded"
      : "the hopper grew lighter by about as much";
  return current ? "the motor draws what it does with food on the tray" : "others between them were seen as usual";
}

function stillOpen(name: Name, likely: readonly Likely[], feed: FeedState, settings: FeederSettings): string {
  const open = likely.filter(({ chance }) => chance >= barely).map((one) => one.name);
  return looksTheSame(open.includes(name) ? open : [name, ...open], feed, settings);
}

function evidenceOf(feed: FeedState, level: HopperLevel | null, likely: readonly Likely[]): readonly Evidence[] {
  const evidence: Evidence[] = [];
  const { motor, uncountedRun, lastFellAt, newestAt, verdict } = feed;
  if (uncountedRun > 0)
    evidence.push({ what: "portions in a row without food", value: `${uncountedRun}`, at: newestAt });
  if (lastFellAt !== null)
    evidence.push({ what: "food last seen to fall", value: "by the chute sensor", at: lastFellAt });
  const usual = usualCurrent(motor);
  if (usual !== null && motor.lastMilliamps !== null) {
    const value = `${roundedMilliamps(motor.lastMilliamps)}, usually ${roundedMilliamps(usual)}`;
    evidence.push({ what: "motor current", value, at: newestAt });
  }
  if (feed.scale.at !== null) {
    evidence.push({ what: "weight by the scale", value: `${Math.round(feed.scale.level)} g`, at: feed.scale.at });
  }
  const holds = level === null ? "not known" : `${roundedGrams(level.grams)} (${gramsRange(level.low, level.high)})`;
  evidence.push({ what: "in the hopper at the last portion", value: holds, at: null });
  evidence.push({ what: "noticed", value: "by all sensors together", at: verdict?.since ?? null });
  for (const { name, chance } of likely) {
    if (chance >= barely) evidence.push({ what: `chance that ${namesOr([name])}`, value: percent(chance), at: null });
  }
  return evidence;
}

const percent = (chance: number) => (chance > sureMax ? "over 99 %" : `${Math.round(100 * chance)} %`);

const roundedMilliamps = (current: number) =>
  current >= 100 ? `${Math.round(current / 10) * 10} mA` : `${Math.round(current)} mA`;
