import type { RandomSource } from "../random.ts";
import type { PartFault } from "./faults.ts";

export interface MotorParameters {
  readonly milliamps: number; // with a loaded tray at 10 °C
  readonly spread: number; // of one portion's mean current, as a share
  readonly perDegree: number; // share by which it grows for each degree colder than 10 °C: grease stiffens
  readonly lightTray: number; // factor without food on the tray
  readonly jam: number; // factor while food is wedged, which rubs more than a load that moves
  readonly stall: number; // factor while the tray is held fast
}

/** Mean current of a motor that turns a loaded tray, without scatter. */
export const loadedMilliamps = (motor: MotorParameters, insideCelsius: number): number =>
  motor.milliamps * (1 + motor.perDegree * (10 - insideCelsius));

/** The current beside that of a loaded tray. `loadedShare`: how full the tray is, 0 to 1. */
export function loadFactor(motor: MotorParameters, fault: PartFault | null, loadedShare: number): number {
  if (fault === "wireOff") return 0;
  if (fault === "trayJammed") return motor.jam;
  if (fault === "motorStalled") return motor.stall;
  return loadedShare + (1 - loadedShare) * motor.lightTray;
}

/** What the driver itself lets through while the motor's wire is off. */
export const leakageMilliamps = (random: RandomSource): number => random.between(0, 5);

/** The inrush at the start beside the mean; without a motor that turns there is hardly any. */
export const inrushFactor = (fault: PartFault | null, random: RandomSource): number =>
  fault === "motorStalled" || fault === "wireOff" ? 1.05 : random.between(2.2, 2.7);

export const boardVolts = 5.06;
/** Of the converter and the wires that motor and board share: the inrush of 600 mA costs less than a tenth of a volt. */
const motorSupplyOhms = 0.12;

/** The supply voltage at the motor's highest current. */
export const lowestSupplyVolts = (peakMilliamps: number): number =>
  boardVolts - motorSupplyOhms * (peakMilliamps / 1_000);
