import type { Place } from "../../server/domain/settings.ts";
import { byStage } from "./bird.ts";
import type { FaultTraits } from "./faults.ts";
import type { StageKind } from "./livedDay.ts";
import type { Random } from "./random.ts";

/**
 * What is fixed at a site and has nothing to do with learning: place, hours, sensors, chance. Goal: sites that differ
 * more than real ones may. Ranges are our choice where no source stands beside them.
 */
export interface SiteTraits {
  readonly place: Place;
  readonly zone: string;
  readonly hasPerch: boolean;
  readonly hasChuteSensor: boolean;
  readonly boutsDaily: number; // on a mild day of twelve hours, of all birds together, when each of them comes readily
  readonly hours: { readonly morning: number; readonly even: number; readonly evening: number };
  readonly moodSpread: number; // of a day's factor on all numbers, for what nobody sees
  readonly nestlingFactor: number; // on numbers in the nestling season: parents come more often, or stay away
  readonly autumnFactor: number;
  readonly chanceShare: Readonly<Record<StageKind, number>>; // of bouts that hold the act by accident
  readonly windHelps: number; // how far those rise and fall with the day's wind, 0 to 1
  readonly windActsDaily: number; // presses or caps with no bird near
  readonly rejectedPerBout: number; // leaves and stones
  readonly rejectedDaily: number; // the same, by wind
  readonly falseVisitShare: number;
  readonly perchSenses: number; // the share of landings
  readonly latencySeconds: number;
  readonly theft: number; // the chance that a higher bird takes what another has earned
  readonly unmeasuredCm: Readonly<Record<StageKind, number>>; // what the distance is where the keeper has not measured it
  readonly litterDaily: number; // caps in the garden beside the keeper's own
  readonly keeperEveryDays: number;
  readonly faults: FaultTraits;
}

/** Rough places in several zones, moved by up to a degree. */
const places: readonly (readonly [number, number, string])[] = [
  [59.5, 17.8, "Europe/Stockholm"],
  [52, -1.5, "Europe/London"],
  [43.5, 11.5, "Europe/Rome"],
  [63.8, -19.5, "Atlantic/Reykjavik"],
  [47.5, -122, "America/Los_Angeles"],
  [40.5, -82.5, "America/New_York"],
  [36, 139, "Asia/Tokyo"],
  [-37.5, 145, "Australia/Melbourne"],
];

export function drawTraits(random: Random): SiteTraits {
  const [latitude, longitude, zone] = random.pick(places);
  return {
    place: {
      latitudeDegrees: latitude + random.between(-1, 1),
      longitudeDegrees: longitude + random.between(-1, 1),
    },
    zone,
    ...drawNumbers(random),
    ...drawSensors(random),
    ...drawChance(random, 0.08),
    theft: random.between(0, 0.5),
    unmeasuredCm: byStage((stage) => (stage === "fetchCap" ? random.logBetween(100, 1_500) : random.logBetween(5, 60))),
    litterDaily: random.pick([0, random.logBetween(0.5, 8)]),
    keeperEveryDays: random.between(2, 10),
    faults: { daily: random.logBetween(0.02, 0.25), hiddenShare: random.between(0.2, 0.7) },
  };
}

const drawNumbers = (random: Random) => ({
  boutsDaily: random.logBetween(3, 40),
  hours: { morning: random.between(1.5, 6), even: random.between(0.4, 1.2), evening: random.between(0, 2) },
  moodSpread: random.logBetween(0.1, 0.6),
  nestlingFactor: random.logBetween(0.5, 1.8),
  autumnFactor: random.logBetween(0.8, 1.8),
});

const drawSensors = (random: Random) => ({
  hasPerch: random.chance(0.8),
  hasChuteSensor: random.chance(0.7),
  falseVisitShare: random.between(0, 0.3),
  perchSenses: random.between(0.7, 1),
  latencySeconds: random.logBetween(0.3, 3),
});

/** @param most the largest share of bouts with an act by accident */
export const drawChance = (random: Random, most: number) => {
  const share = random.pick([0, random.logBetween(0.002, most), random.between(0, most)]);
  return {
    // A cap that lies in the slot's edge falls in easily; nobody carries one by accident.
    chanceShare: { comeForFood: 0, pressForFood: share, nudgeCap: share, dropCap: share / 3, fetchCap: share / 10 },
    windHelps: random.pick([0, random.unit()]),
    windActsDaily: random.pick([0, 0, random.logBetween(0.02, 1.5)]),
    rejectedPerBout: random.pick([0, random.logBetween(0.005, 0.15)]),
    rejectedDaily: random.pick([0, random.logBetween(0.05, 3)]),
  };
};
