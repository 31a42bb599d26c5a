import { type PracticeFault, practiceFaults } from "../contract/api.ts";
import type { FoodKind } from "../domain/food.ts";
import type { BatteryKind, FittedSensors, Place } from "../domain/settings.ts";

/** The practice yard: invented, so that a new keeper can try faults where no bird goes hungry. */
export const practiceYard = {
  name: "Alder Croft",
  zone: "Europe/Stockholm",
  place: { latitudeDegrees: 59.5, longitudeDegrees: 17.8 },
} as const satisfies { name: string; zone: string; place: Place };

/** What the keeper would have entered about a practice feeder: the shape of `addFeederRequest` without its yard. */
export interface PracticeSettings {
  readonly name: "Rowan" | "Larch";
  readonly food: string;
  readonly foodKind: FoodKind;
  readonly grainsPerPortion: number;
  readonly hopperCapacityGrams: number;
  readonly portionGrams: number;
  readonly sensors: FittedSensors;
  readonly battery: BatteryKind;
  readonly reportEverySeconds: number;
  readonly warnAheadDays: number;
}

/**
 * Portions larger than a scale's noise (4 g for a hopper of up to 2 kg), so that a few of them show whether food falls. The
 * practice birds eat in a day what others eat in a week: with the shortest possible warning a healthy feeder has no alarm "food
 * low".
 */
const lively = { hopperCapacityGrams: 2_000, portionGrams: 7.5, reportEverySeconds: 5, warnAheadDays: 0.25 };

/** Fitted with everything, on a lithium iron phosphate battery: the one that must not be charged in frost. */
export const rowan: PracticeSettings = {
  name: "Rowan",
  food: "peanuts, unsalted",
  foodKind: "peanutHalves",
  grainsPerPortion: 21,
  ...lively,
  sensors: { button: true, detector: true, chute: true, perch: true, scale: true },
  battery: "lithiumIronPhosphate",
};

/** Without a perch switch, on a lead-acid battery: the one that freezes when it is left discharged. */
export const larch: PracticeSettings = {
  name: "Larch",
  food: "dry kibble",
  foodKind: "catKibble",
  grainsPerPortion: 25,
  ...lively,
  sensors: { button: true, detector: true, chute: true, perch: false, scale: true },
  battery: "leadAcid",
};

/** What isn't fitted can't break, and each kind of battery has its own faults. Every feeder can have the faults that aren't here. */
const faultConditions: Readonly<Partial<Record<PracticeFault, (settings: PracticeSettings) => boolean>>> = {
  weakBattery: ({ battery }) => battery === "leadAcid",
  chargingInFrost: ({ battery }) => battery === "lithiumIronPhosphate" || battery === "lithiumIon",
  buttonDead: ({ sensors }) => sensors.button,
  detectorDead: ({ sensors }) => sensors.detector,
  chuteBlind: ({ sensors }) => sensors.chute,
  scaleDead: ({ sensors }) => sensors.scale,
};

/** Whether a feeder with these sensors and this battery can have the fault at all. */
export const canHaveFault = (settings: PracticeSettings, fault: PracticeFault): boolean =>
  faultConditions[fault]?.(settings) ?? true;

/** One fault at a time, on one feeder, so that the other stays healthy for comparison. */
export const feederWithFault = (fault: PracticeFault): PracticeSettings["name"] =>
  canHaveFault(rowan, fault) ? rowan.name : larch.name;

export const parseFault = (name: string): PracticeFault | null =>
  practiceFaults.find((fault) => fault === name) ?? null;
