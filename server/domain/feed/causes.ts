import type { Evidence, Fault } from "../faults.ts";
import type { FeederSettings } from "../feeder.ts";
import { gramsRange, roundedGrams } from "../hopper/amount.ts";
import { emptyMark, type HopperLevel, scaleNoise } from "../hopper/level.ts";
import { type Instant, minutes } from "../instant.ts";
import { probability } from "../units.ts";
import type { FeedState } from "./diagnosis.ts";
import { turnsNormally, usualCurrent } from "./motorCurrent.ts";

/** What the sequential tests' error rates are worth once wear and weather have their say: never more than this. */
const sureMax = probability(0.99);
/** A level's 90 % interval lies clear of the mark: 5 % are on the other side. */
const sureByLevel = probability(0.95);

export function motorFaults(feed: FeedState): readonly Fault[] {
  const usual = usualCurrent(feed.motor);
  const last = feed.motor.lastMilliamps;
  if (usual === null || last === null) return [];
  const evidence: readonly Evidence[] = [
    { what: "motor current, last portion", value: `${roundedMilliamps(last)}`, at: feed.newestAt },
    { what: "motor current, usual", value: `${roundedMilliamps(usual)}`, at: null },
    ...fellEvidence(feed),
  ];
  if (feed.motor.still.verdict === "faulty") {
    const reason = `The motor was switched on but drew only ${roundedMilliamps(last)} instead of about ${roundedMilliamps(usual)}: it isn't turning. Likely a wire or plug.`;
    return [{ kind: "motorNotTurning", reason, evidence, sure: sureMax }];
  }
  if (feed.motor.stalled.verdict === "faulty") {
    const reason = `The motor draws ${roundedMilliamps(last)} instead of about ${roundedMilliamps(usual)}: it is held fast.`;
    return [{ kind: "motorStalled", reason, evidence, sure: sureMax }];
  }
  return [];
}

/** Given that the motor isn't to blame, as far as its current is known. */
export function stopFaults(
  feed: FeedState,
  level: HopperLevel | null,
  settings: FeederSettings,
  now: Instant,
): readonly Fault[] {
  if (settings.sensors.chute && feed.scale.chuteBlind.verdict === "faulty") return [chuteBlind(feed)];
  const sign = signOfStop(feed, settings, now);
  if (sign === null) return [];

  const then = feed.levelAtPortion;
  const mark = emptyMark(settings);
  // Filled again since the last portion: whether food falls now, the next portion will show.
  if (then !== null && level !== null && level.low > Math.max(then.high, mark)) return [];
  const evidence: readonly Evidence[] = [...signEvidence(feed, sign), ...motorEvidence(feed), ...levelEvidence(then)];
  const unless = sameLooks(sign, settings);
  if (then === null) {
    const reason = `${nothingFalls(sign, feed)}, and nothing is known about the hopper's level: it is empty or jammed.${unless}`;
    return [{ kind: "feedStopped", reason, evidence, sure: sureMax }];
  }
  if (then.low <= mark) return [emptyOrUnsure(feed, then, settings, sign, evidence)];
  if (turnsNormally(feed.motor)) {
    const reason = `The motor runs as usual, but ${lowered(nothingFalls(sign, feed))}, and the hopper isn't empty (about ${roundedGrams(then.grams)}): the tray is jammed or the food has bridged above it.${unless}`;
    return [{ kind: "trayJammed", reason, evidence, sure: sureByLevel }];
  }
  const reason = `${nothingFalls(sign, feed)}, and the hopper isn't empty (about ${roundedGrams(then.grams)}). Without knowing the motor's usual current a jam can't be told from a motor that stands still.${unless}`;
  return [{ kind: "feedStopped", reason, evidence, sure: sureMax }];
}

function emptyOrUnsure(
  feed: FeedState,
  then: HopperLevel,
  settings: FeederSettings,
  sign: Sign,
  evidence: readonly Evidence[],
): Fault {
  const nearEmpty = Math.max(3 * settings.portionMass, 0.05 * settings.hopperCapacity);
  const range = gramsRange(then.low, then.high);
  if (then.high <= emptyMark(settings)) {
    const reason = `${nothingFalls(sign, feed)}: the hopper is empty (at most ${roundedGrams(then.high)} left).`;
    return { kind: "foodOut", reason, evidence, sure: sureByLevel };
  }
  if (then.grams <= nearEmpty) {
    // By reckoning alone the end comes a few portions early or late; food that stops falling just then has run out.
    const reason = `${nothingFalls(sign, feed)}, and by reckoning the hopper is nearly empty (${range}): the food has run out.`;
    return { kind: "foodOut", reason, evidence, sure: probability(0.8) };
  }
  const reason = `${nothingFalls(sign, feed)}. The hopper is reckoned to hold ${range}, so it may be empty or jammed.`;
  return { kind: "feedStopped", reason, evidence, sure: sureMax };
}

function chuteBlind(feed: FeedState): Fault {
  return {
    kind: "chuteBlind",
    reason: `The chute sensor saw nothing of the last ${feed.uncountedRun} portions, yet the hopper grew lighter by about as much: food falls, the sensor doesn't see it.`,
    evidence: [
      ...signEvidence(feed, "chute"),
      { what: "scale", value: "sank by the portions given", at: feed.weighedAt },
    ],
    sure: sureMax,
  };
}

// --- signs that nothing falls --------------------------------------------------------------------------------------

type Sign = "chute" | "scale";

/**
 * While a scale speaks it is asked before the chute sensor is believed: a blind sensor looks just like an empty hopper.
 * It is waited for only as long as portions go on and are heavy enough for it.
 */
const scaleWaitPortions = 12;
const scaleWaitMax = minutes(10);
/** The scale says that food falls, block after block: then the sensor is on its way to be called blind. */
const blindWaitPortions = 60;

function signOfStop(feed: FeedState, settings: FeederSettings, now: Instant): Sign | null {
  const { sensors } = settings;
  if (sensors.chute && feed.chute.verdict === "faulty") {
    return sensors.scale && waitsForScale(feed, settings, now) ? null : "chute";
  }
  const chuteSaysNothing = !sensors.chute || (feed.chute.verdict === "open" && feed.lastFellAt === null);
  return chuteSaysNothing && sensors.scale && feed.scale.nothingFalls.verdict === "faulty" ? "scale" : null;
}

function waitsForScale(feed: FeedState, settings: FeederSettings, now: Instant): boolean {
  const { uncounted } = feed.scale;
  if (feed.weighedAt === null) return false;
  if (uncounted !== null) return uncounted < 0 && feed.uncountedRun < blindWaitPortions;
  const heavyEnough = scaleWaitPortions * settings.portionMass > 12 * scaleNoise(settings);
  const goesOn = feed.newestAt !== null && now - feed.newestAt < scaleWaitMax;
  const speaks = now - feed.weighedAt < scaleWaitMax + 3 * settings.reportEvery;
  return heavyEnough && goesOn && speaks && feed.uncountedRun < scaleWaitPortions;
}

// --- words ---------------------------------------------------------------------------------------------------------

function nothingFalls(sign: Sign, feed: FeedState): string {
  if (sign === "scale") return "The hopper doesn't grow lighter, whatever portions are given";
  return feed.uncountedRun === 0
    ? "Hardly any portion falls any more"
    : `Nothing fell in the last ${feed.uncountedRun === 1 ? "portion" : `${feed.uncountedRun} portions`}`;
}

/** What looks the same from where nothing else could see it. */
function sameLooks(sign: Sign, { sensors }: FeederSettings): string {
  if (sign === "scale") return sensors.chute ? "" : " Without a chute sensor a stuck scale looks the same.";
  return sensors.scale ? "" : " Without a scale a blind chute sensor looks the same.";
}

const lowered = (sentence: string) => sentence.charAt(0).toLowerCase() + sentence.slice(1);

const fellEvidence = (feed: FeedState): readonly Evidence[] =>
  feed.lastFellAt === null
    ? []
    : [{ what: "food last seen to fall", value: "by the chute sensor", at: feed.lastFellAt }];

const signEvidence = (feed: FeedState, sign: Sign): readonly Evidence[] =>
  sign === "scale"
    ? [{ what: "scale", value: "unchanged while portions were given", at: feed.weighedAt }]
    : [
        { what: "portions in a row without food", value: `${feed.uncountedRun}`, at: feed.newestAt },
        ...fellEvidence(feed),
      ];

function motorEvidence(feed: FeedState): readonly Evidence[] {
  const usual = usualCurrent(feed.motor);
  const last = feed.motor.lastMilliamps;
  if (usual === null || last === null) return [];
  return [
    {
      what: "motor current",
      value: `${roundedMilliamps(last)}, usually ${roundedMilliamps(usual)}`,
      at: feed.newestAt,
    },
  ];
}

const levelEvidence = (level: HopperLevel | null): readonly Evidence[] => [
  {
    what: "in the hopper at the last portion",
    value: level === null ? "not known" : `${roundedGrams(level.grams)} (${gramsRange(level.low, level.high)})`,
    at: null,
  },
];

const roundedMilliamps = (current: number) =>
  current >= 100 ? `${Math.round(current / 10) * 10} mA` : `${Math.round(current)} mA`;
