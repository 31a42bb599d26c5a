import { days, type Instant } from "../instant.ts";
import { moved } from "../movingMean.ts";
import type { FeederSettings } from "../settings.ts";
import type { Grams } from "../units.ts";
import { type Appetite, ate, expectedEaten, outlookOf, watchedUntil } from "./appetite.ts";
import { dayAround } from "./daySpan.ts";
import { started, type Weighed } from "./firstReading.ts";
import { jumped } from "./jump.ts";
import { type HopperState, markEmpty, withinHopper, withPortionBounds } from "./level.ts";
import {
  afterOffsetWord,
  afterReading,
  afterTime,
  doubted,
  expectedReading,
  expectedReadingVariance,
  type LevelBelief,
  offsetVariance,
  slopeVariance,
  withoutNegativeLid,
} from "./levelFilter.ts";
import { lidWeather, watchedLid } from "./lidLoad.ts";
import { cellLagHours, offsetDoubt, scaleNoise, taredCelsius, wanderDoubt, wanderHours } from "./scaleModel.ts";
import { type Surroundings, unknownSurroundings } from "./surroundings.ts";

/**
 * The scale said something. What it says is food, and the zero's drift with the temperature, and its wandering, and what lies
 * on the lid: at night no food goes, and what moves then is the scale. A reading far off what is believed is believed only when
 * others agree (jump.ts): a bird on the perch adds 200 to 500 g and leaves again.
 */
export function weighed(
  hopper: HopperState,
  reading: Grams,
  at: Instant,
  settings: FeederSettings,
  around: Surroundings = unknownSurroundings,
): Weighed {
  const same = { hopper, refillFound: null };
  if (!settings.sensors.scale || liftedOff(reading, settings)) return same;
  // Older than what is known: what fell or was filled in since isn't in it.
  if (
    (hopper.fixedAt !== null && at < hopper.fixedAt) ||
    (hopper.lastPortionAt !== null && at < hopper.lastPortionAt)
  ) {
    return same;
  }
  const cellCelsius = cellTemperature(hopper, around, at);
  const warmer = cellCelsius === null ? 0 : cellCelsius - taredCelsius;
  const unreported = eatsUnreported(hopper, at);
  const appetite = watchedUntil(hopper.appetite, at, settings, hopper.emptySince !== null);
  const belief = passed(hopper, at, settings, around, unreported);
  if (!hopper.known) {
    return {
      hopper: started({ ...hopper, belief, cellCelsius, appetite }, { reading, warmer, at }, settings),
      refillFound: null,
    };
  }

  const total = expectedReadingVariance(belief, warmer) + hopper.noiseVariance;
  const off = reading - expectedReading(belief, warmer);
  const gate = Math.max(5 * Math.sqrt(total), 0.006 * settings.hopperCapacity, 10);
  if (Math.abs(off) > gate) {
    const waiting = { ...hopper, belief, cellCelsius, appetite, passedAt: at };
    return jumped(waiting, { reading, off, warmer, at, gate, unreported }, settings);
  }
  const read = withoutNegativeLid(afterReading(belief, reading, warmer, hopper.noiseVariance));
  const after = withPortionBounds(withinHopper(withLikelyOffset(read, around, settings), settings), settings);
  const measured: HopperState = {
    known: true,
    belief: after,
    spreadVariance: learntSpread(hopper, off, total),
    noiseVariance: learntNoise(hopper, off, total, settings),
    portionSaid: hopper.portionSaid,
    portionsSinceWeighed: 0,
    lastPortionAt: hopper.lastPortionAt,
    weighedAt: at,
    fixedAt: at,
    passedAt: at,
    cellCelsius,
    lidWatch: watchedLid(hopper.lidWatch, {
      before: belief,
      read,
      warmer,
      given: hopper.portionsSinceWeighed,
      hours: hopper.passedAt === null ? 0 : (at - hopper.passedAt) / hourLong,
    }),
    jump: null,
    found: hopper.found,
    toldAt: hopper.toldAt,
    addedAt: hopper.addedAt,
    dryRun: hopper.dryRun,
    emptySince: hopper.emptySince,
    appetite: unreported ? eatenByScale(hopper, appetite, hopper.belief.level - after.level, at, settings) : appetite,
  };
  return { hopper: markEmpty(measured, at, settings), refillFound: null };
}

/** After this long without a portion event the birds, if the scale sinks, eat without being reported. */
const portionsMissingAfter = days(2);

/** Far below zero the hopper has been lifted off its cell, or the cell is broken: no word about the food. */
const liftedOff = (reading: number, settings: FeederSettings) =>
  reading < -Math.max(50, 0.05 * settings.hopperCapacity);

const eatsUnreported = (hopper: HopperState, at: Instant) =>
  hopper.lastPortionAt === null || at - hopper.lastPortionAt > portionsMissingAfter;

/** How far off the zero was from the start is the smaller, the less it moves with the temperature: known as that is learnt. */
function withLikelyOffset(belief: LevelBelief, around: Surroundings, settings: FeederSettings): LevelBelief {
  const now = offsetVariance(belief);
  const likely = offsetDoubt(slopeSquaredOf(belief), hasThermometer(around), settings);
  return now <= 1.05 * likely ? belief : afterOffsetWord(belief, (now * likely) / (now - likely));
}

const slopeSquaredOf = (belief: LevelBelief): number => belief.slope * belief.slope + slopeVariance(belief);
const hasThermometer = ({ inside, air, lid }: Surroundings): boolean => (inside ?? air ?? lid) !== null;

/** A new feeder's first day: whether it tells of portions will show, and until then nothing that the scale does is a meal. */
const waitsForPortion = ({ lastPortionAt, appetite }: HopperState, at: Instant): boolean =>
  lastPortionAt === null && (appetite.since === null || at - appetite.since < days(1));

function eatenByScale(hopper: HopperState, appetite: Appetite, mass: number, at: Instant, settings: FeederSettings) {
  // Nobody eats in the dark: what the level does then is the scale being understood better.
  if (waitsForPortion(hopper, at) || isDark(at, settings)) return appetite;
  const { daily, dayMeals } = appetite;
  // Only from here on it is counted.
  const begun = daily === null && dayMeals === 0 ? { ...appetite, dayStart: at } : appetite;
  return ate(begun, mass, at, settings);
}

function cellTemperature(hopper: HopperState, { inside, air, lid }: Surroundings, at: Instant): number | null {
  const said = inside ?? air ?? lid;
  const { cellCelsius, passedAt } = hopper;
  if (said === null || cellCelsius === null || passedAt === null) return said ?? cellCelsius;
  const follows = 1 - Math.exp(-Math.max(0, at - passedAt) / (cellLagHours * hourLong));
  return moved(cellCelsius, said, follows);
}
const hourLong = 3_600_000;

/** What has passed since the last reading: the zero wanders, snow comes and goes, and birds may eat without a word. */
function passed(
  hopper: HopperState,
  at: Instant,
  settings: FeederSettings,
  around: Surroundings,
  unreported: boolean,
): LevelBelief {
  const { belief, passedAt } = hopper;
  const wander = wanderDoubt(slopeSquaredOf(belief), hasThermometer(around), settings);
  if (passedAt === null || at <= passedAt) return passedAt === null ? doubted(belief, { wander }) : belief;
  const hours = (at - passedAt) / hourLong;
  const wanderKept = Math.exp(-hours / wanderHours);
  const eaten = unreported ? eatenUnreported(hopper, passedAt, at, settings) : none;
  const lid = lidWeather(
    around,
    hopper.lidWatch,
    belief.lid,
    usualUnrest(hopper, wander, eaten.variance / hours),
    hours,
  );
  return afterTime(belief, {
    levelFell: eaten.mass,
    levelVariance: eaten.variance,
    wanderKept,
    wanderVariance: (1 - wanderKept * wanderKept) * wander,
    lidKept: lid.kept,
    lidVariance: lid.variance,
  });
}

/** g² an hour, by which the scale errs from what is expected: single portions, their mean (within 5 %), the wandering zero. */
function usualUnrest({ belief, spreadVariance, lidWatch }: HopperState, wander: number, unreported: number): number {
  const given = lidWatch.portions;
  const mean = 0.05 * given * belief.portion;
  return given * spreadVariance + mean * mean + (2 * wander) / wanderHours + unreported;
}

const none = { mass: 0, variance: 0 };

/** Where no portions are told, food goes as these birds are known to eat, give or take a bout of them. */
function eatenUnreported(hopper: HopperState, from: Instant, to: Instant, settings: FeederSettings) {
  const outlook = outlookOf(hopper.appetite, settings);
  const { hopperCapacity, portionMass } = settings;
  if (outlook === null) {
    const perDay = isDark(to, settings) && to - from < hourLong ? 0.01 : 0.1;
    return { mass: 0, variance: ((perDay * hopperCapacity) ** 2 * (to - from)) / (24 * hourLong) };
  }
  const mass = hopper.emptySince === null ? expectedEaten(outlook, settings, from, to) : 0;
  const least = ((0.002 * hopperCapacity) ** 2 * (to - from)) / (24 * hourLong);
  return { mass, variance: least + 4 * mass * portionMass + 0.25 * mass * mass };
}

function isDark(at: Instant, settings: FeederSettings): boolean {
  if (settings.place === null) return false;
  const { dawn, dusk } = dayAround(settings, at);
  return at < dawn || at > dusk;
}

/**
 * Where innovations are larger or smaller than foreseen, a single portion's spread was set too small or too large: as far
 * as that spread, and not the scale's noise, made up what was foreseen.
 */
function learntSpread(hopper: HopperState, off: number, total: number): number {
  const share = (hopper.portionsSinceWeighed * hopper.spreadVariance) / total;
  if (share <= 0) return hopper.spreadVariance;
  const surprise = Math.min((off * off) / total, 9) - 1;
  const learnt = hopper.spreadVariance * (1 + 0.05 * Math.min(share, 1) * surprise);
  const mean = hopper.belief.portion;
  return Math.min(Math.max(learnt, (0.05 * mean) ** 2), mean * mean);
}

/** The same for the noise of a reading, from readings between which nothing fell. */
function learntNoise(hopper: HopperState, off: number, total: number, settings: FeederSettings): number {
  if (hopper.portionsSinceWeighed > 0) return hopper.noiseVariance;
  const share = hopper.noiseVariance / total;
  const learnt = hopper.noiseVariance * (1 + 0.03 * share * (Math.min((off * off) / total, 6) - 1));
  return Math.min(Math.max(learnt, 0.25), (3 * scaleNoise(settings)) ** 2);
}
