import { type Instant, instantOf } from "../../server/domain/instant.ts";
import type { Place } from "../../server/domain/settings.ts";
import type { BirdParameters } from "../../server/practice/model/birdDay.ts";
import { partFaults } from "../../server/practice/model/faults.ts";
import type { LoadCellParameters } from "../../server/practice/model/loadCell.ts";
import type { MotorParameters } from "../../server/practice/model/motor.ts";
import type { ChuteParameters, TrayParameters } from "../../server/practice/model/tray.ts";
import { type RandomSource, seededRandom } from "../../server/practice/random.ts";
import type { UplinkParameters } from "./uplink.ts";

/**
 * What one simulated feeder truly is: its birds, its food, its parts and its keeper. The server gets only what a keeper
 * would enter (`reportedPortionGrams` and the sensors); the rest it must find out. The ranges are invented, wide enough to hold
 * home-built feeders of very different make; where a source gave a number it stands beside it.
 */
export interface Plot {
  readonly seed: number;
  /** Feeders of one yard have the same weather; left out: each has its own. */
  readonly weatherSeed?: number;
  readonly from: Instant;
  readonly days: number;
  readonly place: Place;
  readonly reportEverySeconds: number;
  readonly sensors: { button: boolean; detector: boolean; chute: boolean; perch: boolean; scale: boolean };
  readonly currentMeasured: boolean;
  readonly portionsReported: boolean; // false: a bare scale on a dispenser that reports nothing
  readonly thermometer: boolean; // inside the box, near the cell
  readonly food: FoodParameters;
  readonly birds: BirdParameters;
  readonly cell: PlotCellParameters;
  readonly motor: MotorParameters;
  readonly chute: ChuteParameters;
  readonly keeper: KeeperModel;
  readonly line: UplinkParameters;
  readonly fault: PlantedFault | null;
}

export interface FoodParameters extends TrayParameters {
  readonly capacityGrams: number;
  readonly startGrams: number;
  readonly portionGrams: number; // true mean at the start
  readonly portionWander: number; // of the mean itself over days, as a share
  readonly reportedPortionGrams: number;
}

export interface PlotCellParameters extends LoadCellParameters {
  readonly fullScaleGrams: number;
  readonly perchedShare: number; // of readings taken with a bird on the perch
}

export interface KeeperModel {
  /**
   * Refills in the evening when less than this share is left; "ranOut": only after it stood empty for some hours;
   * "whenNotified": when the phone asks for it by then.
   */
  readonly refillsBelow: number | "ranOut" | "whenNotified";
  readonly refillShare: number; // of what is missing to the brim, on average
  readonly reportsRefill: number; // share of refills that are reported
}

export const plantedFaults = [
  "hopperEmpty", // the keeper doesn't refill any more
  ...partFaults,
  "trayPartlyJammed",
  "chuteDirty", // sees less by the day, and nothing after a week
  "detectorDeaf", // its beam still sees what falls
  "buttonChatters",
  "thermometerStuck",
  "silent",
] as const;
export type PlantedFaultKind = (typeof plantedFaults)[number];

/** What can break for a while, besides what a plot plants for good. */
export type Disturbance = PlantedFaultKind | "lineDown" | "powerCut";

export interface PlantedFault {
  readonly kind: PlantedFaultKind;
  readonly at: Instant;
}

export const everySensor = { button: true, detector: true, chute: true, perch: true, scale: true };

/** A plot with everything drawn from the seed. `with` decides what a study is about; the draws stay the same beside it. */
export function randomPlot(seed: number, study: Partial<Plot> = {}): Plot {
  const random = seededRandom(0x51ab0000 ^ seed);
  const capacityGrams = oneOf([600, 1_000, 1_500, 2_000, 3_000], random);
  const portionGrams = random.between(1, 8);
  const fullScaleGrams = capacityGrams * random.between(1.3, 3.5);
  const month = Math.floor(random.uniform() * 7); // October to April
  const from = instantOf(
    `20${month < 3 ? 25 : 26}-${String(((month + 9) % 12) + 1).padStart(2, "0")}-0${1 + Math.floor(random.uniform() * 9)}T00:00:00Z`,
  );
  // So that a hopper lasts one to three weeks, as keepers choose it.
  const lastsDays = random.between(6, 22);
  const portionsPerDay = Math.min(250, Math.max(12, capacityGrams / portionGrams / lastsDays));
  const plot: Plot = {
    seed,
    from,
    days: 30,
    place: {
      latitudeDegrees: oneOf([59.5, 59.5, 63.8, 66, 68.4], random),
      longitudeDegrees: random.between(17, 22),
    },
    reportEverySeconds: oneOf([60, 120, 300], random),
    sensors: everySensor,
    currentMeasured: true,
    portionsReported: true,
    thermometer: true,
    food: {
      capacityGrams,
      startGrams: capacityGrams * random.between(0.5, 1),
      portionGrams,
      portionSpread: random.between(0.1, 0.3),
      portionWander: random.between(0.02, 0.08),
      reportedPortionGrams: Number((portionGrams * Math.exp(random.normal(0, 0.18))).toPrecision(2)),
      grainGrams: Math.min(portionGrams / 2, random.between(0.2, 1)),
      trayPortions: random.between(2, 4),
    },
    birds: {
      portionsPerDay,
      pressShare: random.between(0.25, 0.7),
      depositShare: random.between(0.15, 0.5),
      timerPerDay: Math.floor(random.between(0, 9)),
      dayScatter: random.between(0.12, 0.4),
      dayMemory: random.between(0.2, 0.8),
      trendPerDay: random.normal(0, 0.012),
      clustered: random.between(2, 6),
      morning: random.between(0.5, 2.5),
    },
    cell: {
      fullScaleGrams,
      // Between 0.005 % of full scale a degree (a data sheet) and 0.05 % (a design note's worst; check values lc-* in test/references/checkValues.json).
      zeroPerDegree: fullScaleGrams * 1e-4 * Math.max(-3.5, Math.min(3.5, random.normal(0, 1.4))),
      lagMinutes: random.between(10, 60),
      wanderGrams: fullScaleGrams * random.between(0.0001, 0.0006),
      zeroGrams: fullScaleGrams * random.normal(0, 0.0007),
      noiseGrams: random.between(0.4, 2.5),
      creepShare: random.between(0.0002, 0.0008), // 0.05 % in half an hour: a data sheet
      perchedShare: oneOf([0, 0.005, 0.02], random),
      snowMaxGrams: random.isTrueWith(0.5) ? 120 : 0,
    },
    motor: {
      milliamps: random.between(120, 900),
      spread: random.between(0.02, 0.07),
      perDegree: random.between(0.001, 0.007),
      lightTray: random.between(0.91, 0.97),
      jam: random.between(1.06, 1.3),
      stall: random.between(2.5, 4),
    },
    chute: { pieceSeen: random.between(0.85, 0.99), portionMissed: random.between(0, 0.02) },
    keeper: {
      refillsBelow: random.between(0.25, 0.5),
      refillShare: random.between(0.6, 1),
      reportsRefill: random.uniform(),
    },
    line: {
      lost: random.between(0, 0.03),
      burstsPerDay: random.between(0, 1.5),
      burstMinutes: random.between(1, 5),
      outagesPerMonth: random.between(0, 2),
      rebootsPerMonth: random.between(0, 3),
    },
    fault: null,
  };
  return { ...plot, ...study };
}

const oneOf = <Choice>(choices: readonly [Choice, ...Choice[]], random: RandomSource): Choice =>
  choices[Math.floor(random.uniform() * choices.length)] ?? choices[0];
