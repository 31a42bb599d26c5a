import type { StageKind } from "./livedDay.ts";
import type { Random } from "./random.ts";

/**
 * A bird is a body, which is the same in all kinds of sites, and a mind, in which they differ. Goal: birds that differ
 * from each other as much as the literature says individuals do. Ranges without a source are our choice.
 */
export interface Bird {
  readonly body: Body;
  readonly mind: Mind;
}

export interface Body {
  readonly appetiteGrams: number; // what it would take at the feeder in a day, hoards included
  readonly boutsWeight: number; // its part of the site's bouts as a leader
  readonly joins: number; // the chance to join a bout that another has begun
  readonly distanceHalfCm: number; // at this distance it acts half as often
  readonly distanceSteepness: number;
  readonly furtherActs: number; // mean of those that follow the first in a run, when hungry
  readonly paceSeconds: number; // from press to press
  readonly rank: number; // 0 to 1: who takes what another has earned
  readonly hears: number; // the chance to hear a portion fall and to be free to come
}

/** What a mind decides, always of the day as it began: learning shows on the next day. */
export interface Mind {
  /** Before each day on which the bird is about: what it has forgotten since the last. */
  beginDay(dayNumber: number): void;
  /** 0 to 1: how readily it comes to the feeder. */
  comes(): number;
  /** 0 to 1: whether the sound of a portion means food to it. */
  notices(): number;
  /** The chance of the act in one bout: hungry, with nothing in the dish, at no distance. */
  acts(stage: StageKind): number;
  knows(stage: StageKind): boolean;
  endDay(day: BirdDay): void;
}

/** What a bird has met with in a day. */
export interface BirdDay {
  readonly dayNumber: number; // since 1970
  readonly stage: StageKind;
  readonly gramsEach: number;
  readonly paysEvery: number;
  readonly airCelsius: number; // mean of the day
  readonly freePortions: number;
  readonly bouts: number;
  readonly boutsFed: number; // in which it ate
  readonly acts: readonly ActMet[];
  readonly paidActsSeen: number; // of others, from near by
}

export interface ActMet {
  readonly paid: boolean; // food fell, and this bird ate it
  readonly delaySeconds: number; // to the food; 0 where unpaid
  readonly isFirst: boolean; // of its run: the others come fast after each other
}

/** @param birds among how many the bouts are shared */
export function drawBody(random: Random, birds: number): Body {
  return {
    appetiteGrams: random.logBetween(8, 70),
    boutsWeight: random.factor(0.7) / birds,
    joins: random.between(0.05, 0.7),
    distanceHalfCm: random.logBetween(40, 500),
    distanceSteepness: random.between(1.2, 4),
    furtherActs: random.logBetween(0.3, 6),
    paceSeconds: random.logBetween(2, 15),
    rank: random.unit(),
    hears: random.between(0.1, 0.9),
  };
}

/**
 * 1 at no distance, falling along a log-logistic curve. Caps in the garden are looked for, so there the same bird goes
 * eight times as far. The form is our choice: that response and learning fall with distance and delay is well known, no
 * curve for wild corvids is.
 */
export function distanceResponse(body: Body, stage: StageKind, distanceCm: number): number {
  if (stage === "comeForFood") return 1;
  const half = body.distanceHalfCm * (stage === "fetchCap" ? 8 : 1);
  return 1 / (1 + (Math.max(0, distanceCm) / half) ** body.distanceSteepness);
}

/** What must be known before, as shaping goes in small steps. */
export const stageBefore: Readonly<Record<StageKind, StageKind | null>> = {
  comeForFood: null,
  pressForFood: "comeForFood",
  nudgeCap: "comeForFood", // a cap that lies in the slot's edge is moved as easily as a button
  dropCap: "nudgeCap",
  fetchCap: "dropCap",
};

/** For each stage one value. */
export const byStage = <Value>(value: (stage: StageKind) => Value): Readonly<Record<StageKind, Value>> => ({
  comeForFood: value("comeForFood"),
  pressForFood: value("pressForFood"),
  nudgeCap: value("nudgeCap"),
  dropCap: value("dropCap"),
  fetchCap: value("fetchCap"),
});
