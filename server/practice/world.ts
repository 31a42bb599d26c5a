import type { PracticeFault } from "../contract/api.ts";
import { type Instant, minutes, type Span, seconds } from "../domain/instant.ts";
import { sunAltitudeDegrees } from "./light.ts";
import { advancePower, chargeCurrent, type Power, terminalVolts } from "./power.ts";
import type { RandomSource } from "./random.ts";
import { humidityBelow, type Weather, weatherAt } from "./weather.ts";
import { type PracticeSettings, practiceYard } from "./yard.ts";

/**
 * What is really so around a practice feeder: food in the hopper, snow on the lid, charge in the battery, and which part is
 * broken. The feeder's own program (feeder.ts) sees it through sensors only. Values in, values out; chance and time handed in.
 */
export interface World {
  readonly settings: PracticeSettings;
  readonly seed: number;
  readonly fault: PracticeFault;
  readonly faultSetAt: Instant; // when the fault was chosen
  readonly hopperGrams: number;
  readonly snowGrams: number;
  readonly power: Power;
  readonly perchedUntil: Instant | null; // null while no bird sits there
  readonly at: Instant;
}

export const newWorld = (settings: PracticeSettings, seed: number, hopperGrams: number, at: Instant): World => ({
  settings,
  seed,
  fault: "none",
  faultSetAt: at,
  hopperGrams: Math.min(hopperGrams, settings.hopperCapacityGrams),
  snowGrams: 0,
  power: { chargeShare: 0.92 },
  perchedUntil: null,
  at,
});

/** Lets snow fall and melt and the battery charge and drain, in steps short enough for the sun to move in. */
export function advanceWorld(world: World, to: Instant): World {
  let { snowGrams, power, at } = world;
  while (at < to) {
    const step = Math.min(to - at, minutes(15)) as Span;
    const here = conditionsAt({ ...world, power, at }, at);
    const snowPerHour = here.snowing ? 12 : here.airCelsius > 0.5 ? -40 : -here.windMetersPerSecond;
    snowGrams = Math.min(60, Math.max(0, snowGrams + (snowPerHour * step) / 3_600_000));
    power = advancePower(power, here.chargeMilliamps, step);
    at = (at + step) as Instant;
  }
  return { ...world, snowGrams, power, at };
}

export interface Conditions extends Weather {
  readonly batteryCelsius: number;
  readonly chargeMilliamps: number;
  readonly charged: number;
}

/** Weather and power as they are, or as the chosen fault stages them: a newcomer can't wait for a January night. */
export function conditionsAt(world: World, at: Instant): Conditions {
  const weather = weatherAt(world.seed, practiceYard.place, at);
  const batteryCelsius = weather.airCelsius + 3; // boxed in with the board
  const sun = sunAltitudeDegrees(practiceYard.place, at);
  const { battery } = world.settings;
  const charged = world.power.chargeShare;
  const natural = {
    ...weather,
    batteryCelsius,
    charged,
    chargeMilliamps: chargeCurrent(battery, charged, sun, weather.cloud, batteryCelsius),
  };
  switch (world.fault) {
    case "coldNight":
      return { ...natural, ...(at - world.faultSetAt < dewFor ? dewyEvening : dampFrost), chargeMilliamps: 0 };
    case "weakBattery":
      // About a quarter charged: its acid is thin enough to freeze near -15 °C.
      return { ...natural, ...deepFrost(-16), batteryCelsius: -14, charged: 0.25, chargeMilliamps: 0 };
    case "chargingInFrost":
      return { ...natural, ...deepFrost(-7), batteryCelsius: -4, charged: 0.6, chargeMilliamps: 350 };
    case "hopperEmpty":
      // Snow on the lid weighs like food, and would hide for a while that none is left.
      return { ...natural, snowing: false };
    case "none":
    case "trayJammed":
    case "feedBridged":
    case "motorStalled":
    case "wireOff":
    case "chuteBlind":
    case "buttonDead":
    case "detectorDead":
    case "scaleDead":
    case "silent":
    case "ignoresOrders":
      return natural;
  }
}

/** A night in fast motion: dew that has wetted lid, tray and slot, and the frost that turns it to ice. */
const dewFor: Span = seconds(15); // three reports, so that one which is late or lost doesn't hide the dew
const dewyEvening = { airCelsius: 2, insideCelsius: 3, lidCelsius: 1, humidityPercent: 97, batteryCelsius: 4 };
/** Damp still, so that frost grows on the ice, and goes on for as long as nobody heals it. */
const dampFrost = { airCelsius: -6, insideCelsius: -5, lidCelsius: -9, humidityPercent: 97, batteryCelsius: -4 };

/** A dry frost: cold alone, so that only the battery has to suffer. */
const deepFrost = (airCelsius: number) => ({
  airCelsius,
  insideCelsius: airCelsius + 2.5,
  lidCelsius: airCelsius - 1,
  humidityPercent: humidityBelow(0.85, airCelsius - 1, airCelsius + 2.5),
  snowing: false,
});

// --- what the keeper and chance do to it -----------------------------------------------------------------------------

/**
 * What is left lasts the flock for half a minute: the feeder runs out before the eyes of whoever chose it, and not before the
 * scale, which must doubt a sudden fall, has been believed.
 */
const emptyHopperGrams = 36;

export const withFault = (world: World, fault: PracticeFault): World => ({
  ...world,
  fault,
  faultSetAt: world.at,
  ...(fault === "hopperEmpty" ? { hopperGrams: Math.min(world.hopperGrams, emptyHopperGrams), snowGrams: 0 } : {}),
});

/** The keeper fills to the brim. @returns how many grams went in. */
export const refillWorld = (world: World): { world: World; addedGrams: number } => ({
  world: { ...world, hopperGrams: world.settings.hopperCapacityGrams },
  addedGrams: Math.round(world.settings.hopperCapacityGrams - world.hopperGrams),
});

// --- motor, tray, chute ----------------------------------------------------------------------------------------------

const boardVolts = 5.06;
/** Of the converter and the wires that motor and board share: the inrush of 600 mA costs less than a tenth of a volt. */
const motorSupplyOhms = 0.12;
/** How long the motor runs for one portion. */
export const portionRun: Span = 900 as Span;
const pieceGrams = 0.7; // two peanut halves that fall as one, or a large kibble
const taperGrams = 60; // below this the tray no longer fills: the portion shrinks with what is left
const piecesTogetherShare = 0.1; // a piece close behind another counts as one with it; the first is always seen

export interface TrayTurn {
  readonly meanMilliamps: number;
  readonly peakMilliamps: number;
  readonly fellGrams: number;
  readonly chuteCount: number | null; // null where no chute sensor is fitted
  readonly lowestVolts: number; // of the supply while the motor ran
}

/** What happens while the motor is on for `ranFor`. A run that is cut short gives its share of a portion. */
export function turnTray(world: World, ranFor: Span, chance: RandomSource): { world: World; turn: TrayTurn } {
  const fellGrams = canFeed(world) ? portionGramsOf(world, ranFor, chance) : 0;
  const pieces = Math.round(fellGrams / pieceGrams);
  const mean = runningMilliamps(world) * chance.normal(1, 0.03);
  const inrush = world.fault === "motorStalled" || world.fault === "wireOff" ? 1.05 : chance.between(2.2, 2.7);
  return {
    world: { ...world, hopperGrams: world.hopperGrams - fellGrams },
    turn: {
      meanMilliamps: Math.max(0, Math.round(mean)),
      peakMilliamps: Math.max(0, Math.round(mean * inrush)),
      fellGrams,
      chuteCount: world.settings.sensors.chute ? seenPieces(world, pieces, chance) : null,
      lowestVolts: rounded(boardVolts - motorSupplyOhms * ((mean * inrush) / 1_000), 2),
    },
  };
}

/**
 * Cold grease makes the motor draw more; a tray without food, since none is left or none comes down to it, turns more easily;
 * food that is wedged rubs and makes it work a little harder than a load that moves; a tray held fast makes it stall.
 */
export function runningMilliamps(world: World): number {
  const { insideCelsius } = conditionsAt(world, world.at);
  const free = 240 * (1 + 0.006 * (20 - insideCelsius));
  switch (world.fault) {
    case "motorStalled":
      return 3 * free;
    case "wireOff":
      return 0.8; // the driver's own leakage
    case "trayJammed":
      return 1.12 * free;
    case "feedBridged":
      return trayEmptyShare * free;
    default:
      return world.hopperGrams < pieceGrams ? trayEmptyShare * free : free;
  }
}

/** What the motor draws without food on the tray, beside what it draws with it. Common practice, no source. */
const trayEmptyShare = 0.94;

function canFeed({ fault, hopperGrams }: World): boolean {
  const stuck = fault === "trayJammed" || fault === "feedBridged" || fault === "motorStalled" || fault === "wireOff";
  return !stuck && hopperGrams >= pieceGrams;
}

function portionGramsOf(world: World, ranFor: Span, chance: RandomSource): number {
  const full = world.settings.portionGrams * Math.min(1, world.hopperGrams / taperGrams + 0.3);
  const fell = Math.max(0, chance.normal(full, 0.14 * full)) * Math.min(1, ranFor / portionRun);
  return Math.min(world.hopperGrams, fell);
}

function seenPieces(world: World, pieces: number, chance: RandomSource): number {
  if (world.fault === "chuteBlind") return 0;
  let seen = Math.min(1, pieces);
  for (let piece = 1; piece < pieces; piece++) if (!chance.isTrueWith(piecesTogetherShare)) seen++;
  return seen;
}

// --- sensors ---------------------------------------------------------------------------------------------------------

export const isButtonWorking = (world: World): boolean => world.settings.sensors.button && world.fault !== "buttonDead";

/** What the detector makes of a cap that falls past it; null where it hears nothing. It misses about one in fifty. */
export function detectorSignal(world: World, chance: RandomSource): number | null {
  if (!world.settings.sensors.detector || world.fault === "detectorDead" || chance.isTrueWith(0.02)) return null;
  return Math.min(1, Math.max(0.4, chance.normal(0.82, 0.07)));
}

export interface SensorReadings {
  readonly airCelsius: number;
  readonly insideCelsius: number;
  readonly lidCelsius: number;
  readonly humidityPercent: number;
  readonly supplyVolts: number;
  readonly batteryVolts: number;
  readonly batteryCelsius: number;
  readonly chargeMilliamps: number;
  readonly signalDbm: number;
}

export function readSensors(world: World, chance: RandomSource): SensorReadings {
  const here = conditionsAt(world, world.at);
  const stormLoss = here.windMetersPerSecond > 12 ? 6 : 0; // wet branches sway in the radio's way
  return {
    airCelsius: rounded(here.airCelsius + chance.normal(0, 0.05), 2),
    insideCelsius: rounded(here.insideCelsius + chance.normal(0, 0.05), 2),
    lidCelsius: rounded(here.lidCelsius + chance.normal(0, 0.05), 2),
    humidityPercent: rounded(Math.min(100, here.humidityPercent + chance.normal(0, 0.3)), 1),
    supplyVolts: rounded(chance.normal(boardVolts, 0.01), 2),
    batteryVolts: rounded(
      terminalVolts(world.settings.battery, here.charged, here.chargeMilliamps) + chance.normal(0, 0.01),
      2,
    ),
    batteryCelsius: rounded(here.batteryCelsius + chance.normal(0, 0.05), 2),
    chargeMilliamps: here.chargeMilliamps,
    signalDbm: Math.round(chance.normal(-63 - stormLoss, 1.5)),
  };
}

/** Whether a bird sits on the perch, which hangs from the same frame as the hopper. */
export const isPerched = (world: World): boolean => world.perchedUntil !== null && world.at < world.perchedUntil;

/**
 * A beam cell of 5 kg: 50 ppm of full scale a degree (0.05 % in 10 °C, a data sheet's value), noise of about a gram, snow on
 * the lid, and a jackdaw or a crow while it sits on the perch. Null where there is none, or it is dead.
 */
export function weigh(world: World, chance: RandomSource): number | null {
  if (!world.settings.sensors.scale || world.fault === "scaleDead") return null;
  const drift = 5_000 * 50e-6 * (conditionsAt(world, world.at).insideCelsius - 15);
  const bird = isPerched(world) ? chance.between(180, 480) : 0;
  return rounded(world.hopperGrams + drift + world.snowGrams + bird + chance.normal(0, 0.8), 1);
}

const rounded = (value: number, decimals: number): number => Math.round(value * 10 ** decimals) / 10 ** decimals;
