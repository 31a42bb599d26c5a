import type { StageKind } from "../../domain/training/stage.ts";
import type { RandomSource } from "../random.ts";

/**
 * The birds of a practice yard that lives a whole programme, as one probability for each stage: that a bout of visits (of free food: a portion)
 * holds the act. Each paid act moves it by a share of what is missing to its asymptote, each unpaid one back towards 0: the linear operator of
 * Bush and Mosteller (1951), and with one cue the rule of Rescorla and Wagner (1972); both from memory. Nothing is learnt before a day of
 * change, as records of single animals show (Gallistel and others 2004, from memory), and days without visits are forgotten by and by.
 * All figures are our choice, so that each stage lasts one to two weeks.
 */
export interface LearningBirds {
  readonly strength: Readonly<Record<StageKind, number>>; // probabilities
  readonly daysInStage: number; // whole days lived in `stage`
  readonly stage: StageKind;
}

export const newLearningBirds: LearningBirds = {
  strength: { comeForFood: 0.3, pressForFood: 0.04, nudgeCap: 0.05, dropCap: 0.04, fetchCap: 0.03 },
  daysInStage: 0,
  stage: "comeForFood",
};

/** Of a stage that begins the act is soon as far as this part of what the stage before has taught. */
const carryOver = 0.15;
const asymptote: Readonly<Record<StageKind, number>> = {
  comeForFood: 0.92,
  pressForFood: 0.72,
  nudgeCap: 0.6,
  dropCap: 0.58,
  fetchCap: 0.48,
};
/** Whole days of a stage before any bird has found out. */
const changeDay: Readonly<Record<StageKind, number>> = {
  comeForFood: 2,
  pressForFood: 4,
  nudgeCap: 3,
  dropCap: 3,
  fetchCap: 4,
};
const paidRate = 0.045;
const unpaidRate = 0.012;
const forgettingADay = 0.02;

/** Birds that have learnt all of a programme, for a feeder that was up before. */
export const taughtBirds = (stage: StageKind): LearningBirds => ({ strength: asymptote, daysInStage: 30, stage });

/** The birds at a stage that begins now. */
export function beginStage(birds: LearningBirds, stage: StageKind): LearningBirds {
  const carried = stage === "comeForFood" ? 0 : carryOver * birds.strength[birds.stage];
  const strength = { ...birds.strength, [stage]: Math.max(birds.strength[stage], carried) };
  return { strength, stage, daysInStage: 0 };
}

/** After a day: what its acts have taught. */
export function endDay(birds: LearningBirds, { paid, unpaid }: { paid: number; unpaid: number }): LearningBirds {
  const { stage, daysInStage } = birds;
  const before = birds.strength[stage];
  const gained = daysInStage + 1 < changeDay[stage] ? 0 : 1 - (1 - paidRate) ** paid;
  const learnt = before + gained * Math.max(0, asymptote[stage] - before);
  const kept = learnt * (1 - unpaidRate) ** unpaid * (paid + unpaid === 0 ? 1 - forgettingADay : 1);
  return { ...birds, daysInStage: daysInStage + 1, strength: { ...birds.strength, [stage]: kept } };
}

export interface DayWeather {
  readonly airCelsius: number;
  readonly kind: "fair" | "rain" | "snow";
  /** How many birds come beside a fair day, 0 to 1. */
  readonly visits: number;
}

/** Weather of a day: the season's mean and a day of its own. @param yearPart 0 at new year, 0.5 at midsummer */
export function dayWeather(yearPart: number, isNorth: boolean, random: RandomSource): DayWeather {
  const season = Math.cos(2 * Math.PI * (yearPart - 0.06)) * (isNorth ? -1 : 1);
  const airCelsius = Math.round(7 + 11 * season + random.normal(0, 3));
  const isWet = random.isTrueWith(0.3);
  const kind = isWet ? (airCelsius < 1 ? "snow" : "rain") : "fair";
  return { airCelsius, kind, visits: kind === "fair" ? 1 : kind === "rain" ? 0.6 : 0.75 };
}
