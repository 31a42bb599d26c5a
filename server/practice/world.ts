import type { PracticeFault } from "../contract/api.ts";
import { type Instant, minutes, type Span, seconds } from "../domain/instant.ts";
import { advanceBattery, type Battery, chargeCurrent, terminalVolts } from "./model/battery.ts";
import { partFaultOf } from "./model/faults.ts";
import { sunAltitudeDegrees } from "./model/light.ts";
import { advanceLoadCell, initialLoadCell, type LoadCell, randomBirdGrams, readLoadCell } from "./model/loadCell.ts";
import { inrushFactor, leakageMilliamps, loadedMilliamps, loadFactor, lowestSupplyVolts } from "./model/motor.ts";
import {
  detectorSignal,
  readAirThermometer,
  readBoxSensors,
  readRadioDbm,
  readSupplyVolts,
  rounded,
  type ThermometerReadings,
} from "./model/sensors.ts";
import { type FoodStore, foodStore, turnTray } from "./model/tray.ts";
import { humidityBelow, mildClimate, type Weather, weatherAt } from "./model/weather.ts";
import { practiceCell, practiceDispenser } from "./parts.ts";
import type { RandomSource } from "./random.ts";
import { type PracticeSettings, practiceYard } from "./yard.ts";

/**
 * The true state around a practice feeder: food in hopper and tray, snow on the lid, charge in the battery, and which part is
 * broken. The physics is in the shared model; here are the practice feeder's parameters and the faults that a keeper chooses.
 * The feeder's own program (feeder.ts) sees it through sensors only. Pure: random numbers and time are passed in.
 */
export interface World {
  readonly settings: PracticeSettings;
  readonly seed: number;
  readonly fault: PracticeFault;
  readonly faultSetAt: Instant; // when the fault was chosen
  readonly food: FoodStore;
  readonly cell: LoadCell;
  readonly battery: Battery;
  readonly perchedUntil: Instant | null; // null while no bird sits there
  readonly at: Instant;
}

export const newWorld = (settings: PracticeSettings, seed: number, hopperGrams: number, at: Instant): World => ({
  settings,
  seed,
  fault: "none",
  faultSetAt: at,
  food: foodStore(Math.min(hopperGrams, settings.hopperCapacityGrams), practiceDispenser.tray, settings.portionGrams),
  cell: initialLoadCell(15),
  battery: { chargeShare: 0.92 },
  perchedUntil: null,
  at,
});

/** All food that the scale carries: in the hopper and on the tray. */
export const foodGrams = ({ food }: World): number => food.hopperGrams + food.trayGrams;

/** Lets snow fall and melt and the battery charge and drain, in steps short enough for the sun to move in. */
export function advanceWorld(world: World, to: Instant, random: RandomSource): World {
  let next = world;
  while (next.at < to) {
    const span = Math.min(to - next.at, minutes(15)) as Span;
    const weather = conditionsAt(next, next.at);
    next = {
      ...next,
      cell: advanceLoadCell(next.cell, practiceCell, { span, weather, loadGrams: foodGrams(next) }, random),
      battery: advanceBattery(next.battery, weather.chargeMilliamps, span),
      at: (next.at + span) as Instant,
    };
  }
  return next;
}

export interface Conditions extends Weather {
  readonly batteryCelsius: number;
  readonly chargeMilliamps: number;
  readonly charged: number;
}

/** Weather and power as they are, or as the chosen fault sets them: a new keeper can't wait for a January night. */
export function conditionsAt(world: World, at: Instant): Conditions {
  const weather = weatherAt(world.seed, practiceYard.place, at, mildClimate);
  const batteryCelsius = weather.airCelsius + 3; // boxed in with the board
  const sun = sunAltitudeDegrees(practiceYard.place, at);
  const { battery } = world.settings;
  const charged = world.battery.chargeShare;
  const natural = {
    ...weather,
    batteryCelsius,
    charged,
    chargeMilliamps: chargeCurrent(battery, charged, sun, weather.cloud, batteryCelsius),
  };
  return { ...natural, ...faultConditions[world.fault]?.(at - world.faultSetAt) };
}

/** The faults that aren't here are in parts of the feeder. */
const faultConditions: Readonly<Partial<Record<PracticeFault, (age: number) => Partial<Conditions>>>> = {
  coldNight: (age) => ({ ...(age < dewFor ? dewyEvening : dampFrost), chargeMilliamps: 0 }),
  // About a quarter charged: its acid is thin enough to freeze near -15 °C.
  weakBattery: () => ({ ...deepFrost(-16), batteryCelsius: -14, charged: 0.25, chargeMilliamps: 0 }),
  chargingInFrost: () => ({ ...deepFrost(-7), batteryCelsius: -4, charged: 0.6, chargeMilliamps: 350 }),
  // Snow on the lid weighs like food, and would hide for a while that none is left.
  hopperEmpty: () => ({ snowing: false }),
};

/** A night in fast motion: dew that has wetted lid, tray and slot, and the frost that turns it to ice. */
const dewFor: Span = seconds(15); // three reports, so that one which is late or lost doesn't hide the dew
const dewyEvening = { airCelsius: 2, insideCelsius: 3, lidCelsius: 1, humidityPercent: 97, batteryCelsius: 4 };
/** Damp still, so that frost grows on the ice until the fault is cleared. */
const dampFrost = { airCelsius: -6, insideCelsius: -5, lidCelsius: -9, humidityPercent: 97, batteryCelsius: -4 };

/** A dry frost: cold alone, which affects only the battery. */
const deepFrost = (airCelsius: number) => ({
  airCelsius,
  insideCelsius: airCelsius + 2.5,
  lidCelsius: airCelsius - 1,
  humidityPercent: humidityBelow(0.85, airCelsius - 1, airCelsius + 2.5),
  snowing: false,
});

// --- what the keeper and the chosen fault change ---------------------------------------------------------------------

/**
 * The flock eats the rest in half a minute: the feeder becomes empty while the person who chose the fault watches, and not before
 * the server accepts the sudden fall of the scale's readings.
 */
const emptyHopperGrams = 36;

export function withFault(world: World, fault: PracticeFault): World {
  const total = foodGrams(world);
  const isEmpty = fault === "hopperEmpty";
  return {
    ...world,
    fault,
    faultSetAt: world.at,
    food: foodStore(
      isEmpty ? Math.min(total, emptyHopperGrams) : total,
      practiceDispenser.tray,
      world.settings.portionGrams,
    ),
    cell: isEmpty ? { ...world.cell, snowGrams: 0 } : world.cell,
  };
}

/** The bridge begins with the tray already empty: nobody needs to wait for that. */
const foodToFeed = (world: World): FoodStore =>
  world.fault === "feedBridged" ? { hopperGrams: foodGrams(world), trayGrams: 0 } : world.food;

/** The keeper fills to the brim. @returns how many grams went in. */
export function refillWorld(world: World): { world: World; addedGrams: number } {
  const { hopperCapacityGrams, portionGrams } = world.settings;
  const food = foodStore(hopperCapacityGrams, practiceDispenser.tray, portionGrams);
  return { world: { ...world, food }, addedGrams: Math.round(hopperCapacityGrams - foodGrams(world)) };
}

// --- motor, tray, chute ----------------------------------------------------------------------------------------------

/** How long the motor runs for one portion. */
export const portionRun: Span = 900 as Span;

export interface PortionResult {
  readonly meanMilliamps: number;
  readonly peakMilliamps: number;
  readonly fellGrams: number;
  readonly chuteCount: number | null; // null where no chute sensor is fitted
  readonly lowestVolts: number; // of the supply while the motor ran
}

/** What happens while the motor is on for `ranFor`. A run that is cut short gives its share of a portion. */
export function runMotor(world: World, ranFor: Span, random: RandomSource): { world: World; result: PortionResult } {
  const { settings } = world;
  const conditions = {
    fault: partFaultOf(world.fault),
    portionGrams: settings.portionGrams,
    insideCelsius: conditionsAt(world, world.at).insideCelsius,
    runShare: Math.min(1, ranFor / portionRun),
  };
  const { store, portion } = turnTray(foodToFeed(world), practiceDispenser, conditions, random);
  const peakMilliamps = portion.milliamps * inrushFactor(conditions.fault, random);
  return {
    world: { ...world, food: store },
    result: {
      meanMilliamps: Math.round(portion.milliamps),
      peakMilliamps: Math.round(peakMilliamps),
      fellGrams: portion.fellGrams,
      chuteCount: settings.sensors.chute ? portion.seen : null,
      lowestVolts: rounded(lowestSupplyVolts(peakMilliamps), 2),
    },
  };
}

/** The motor's present current, as the feeder's own program measures it before it decides how long to run. */
export function runningMilliamps(world: World, random: RandomSource): number {
  const fault = partFaultOf(world.fault);
  if (fault === "wireOff") return leakageMilliamps(random);
  const { insideCelsius } = conditionsAt(world, world.at);
  const loadedShare = Math.min(
    1,
    foodToFeed(world).trayGrams / (practiceDispenser.tray.trayPortions * world.settings.portionGrams),
  );
  return (
    loadedMilliamps(practiceDispenser.motor, insideCelsius) * loadFactor(practiceDispenser.motor, fault, loadedShare)
  );
}

// --- sensors ---------------------------------------------------------------------------------------------------------

export const isButtonWorking = (world: World): boolean => world.settings.sensors.button && world.fault !== "buttonDead";

/** The detector's signal of a cap that falls past it; null where it detects nothing. It misses about one in fifty. */
export function readDetector(world: World, random: RandomSource): number | null {
  if (!world.settings.sensors.detector || world.fault === "detectorDead" || random.isTrueWith(0.02)) return null;
  return detectorSignal(0.07, random);
}

export interface SensorReadings extends ThermometerReadings {
  readonly supplyVolts: number;
  readonly batteryVolts: number;
  readonly batteryCelsius: number;
  readonly chargeMilliamps: number;
  readonly signalDbm: number;
}

export function readSensors(world: World, random: RandomSource): SensorReadings {
  const here = conditionsAt(world, world.at);
  return {
    airCelsius: readAirThermometer(here, 1, random),
    ...readBoxSensors(here, 1, random),
    supplyVolts: readSupplyVolts(random),
    batteryVolts: rounded(
      terminalVolts(world.settings.battery, here.charged, here.chargeMilliamps) + random.normal(0, 0.01),
      2,
    ),
    batteryCelsius: rounded(here.batteryCelsius + random.normal(0, 0.05), 2),
    chargeMilliamps: here.chargeMilliamps,
    signalDbm: readRadioDbm(here.windMetersPerSecond, random),
  };
}

/** Whether a bird sits on the perch, which hangs from the same frame as the hopper. */
export const isPerched = (world: World): boolean => world.perchedUntil !== null && world.at < world.perchedUntil;

/** What the scale shows, grams, with the bird on the perch; null where there is none, or it is dead. */
export function weigh(world: World, random: RandomSource): number | null {
  if (!world.settings.sensors.scale || world.fault === "scaleDead") return null;
  const birdGrams = isPerched(world) ? randomBirdGrams(random) : 0;
  return readLoadCell(world.cell, practiceCell, foodGrams(world), birdGrams, random);
}
