import type { BatteryKind } from "../settings.ts";
import { type Celsius, celsius, type Volts, volts } from "../units.ts";

/**
 * What a battery's voltage at rest shows. Handbooks differ, so the results are bands: charge by ± 10 % and more, freezing point
 * by ± 3 °C. The voltage shows nothing while current flows in, and little until hours after.
 */
export interface ChargeBand {
  readonly low: number; // share of full, 0..1
  readonly high: number;
}

/** Null where voltage at rest shows nothing: lithium's is nearly constant, and its number of cells is unknown. */
export function restChargeBand(kind: BatteryKind, restVoltage: Volts): ChargeBand | null {
  switch (kind) {
    case "leadAcid": {
      const cells = leadAcidCellCount(restVoltage);
      if (cells === null) return null;
      const per12Volts = (restVoltage / cells) * 6;
      return {
        low: interpolate(openCircuitVoltageCurves.cautious, per12Volts),
        high: interpolate(openCircuitVoltageCurves.hopeful, per12Volts),
      };
    }
    case "lithiumIronPhosphate":
    case "lithiumIon":
    case "none":
      return null;
  }
}

/**
 * Where the electrolyte freezes: from the specific gravity that the voltage at rest shows. Cautious by the tolerance of
 * the handbooks, since a frozen battery bursts.
 */
export function freezingPoint(restVoltage: Volts): { readonly likely: Celsius; readonly cautious: Celsius } | null {
  const cells = leadAcidCellCount(restVoltage);
  if (cells === null) return null;
  const likely = freezingPointByGravity(specificGravity(restVoltage, cells));
  return { likely, cautious: celsius(Math.min(0, likely + handbookTolerance)) };
}

const handbookTolerance = 3;

/** Rule of thumb: a cell at rest has its specific gravity + 0.845 V (coefficient from memory, seen as 0.84 to 0.85). */
export const specificGravity = (restVoltage: Volts, cells: number): number => restVoltage / cells - 0.845;

/** Cells in series of a 6, 12, 24 or 48 V lead-acid battery; null for a voltage that none of them has. */
export function leadAcidCellCount(voltage: Volts): number | null {
  for (const cells of [3, 6, 12, 24]) if (voltage >= cells * 1.5 && voltage <= cells * 2.5) return cells;
  return null;
}

/** By specific gravity at 25 °C; owner's manual of a vehicle maker, seen in a public copy. Handbooks differ by ± 3 °C. */
export const freezingPointByGravity = (gravity: number): Celsius => celsius(interpolate(freezingPointCurve, gravity));

export type Curve = readonly (readonly [number, number])[];

const freezingPointCurve: Curve = [
  [1, 0], // water
  [1.05, -2.8],
  [1.1, -7.8],
  [1.15, -15],
  [1.2, -27.2],
  [1.225, -37.2],
  [1.265, -59.4],
];

/** State of charge by voltage of a 12 V battery at rest, at 25 °C. */
const openCircuitVoltageCurves: { readonly cautious: Curve; readonly hopeful: Curve } = {
  // A question-and-answer column, seen in a public copy; empty at 12.00 V by carrying its step of 0.15 V on.
  cautious: [
    [12, 0],
    [12.15, 0.25],
    [12.3, 0.5],
    [12.45, 0.75],
    [12.66, 1],
  ],
  // The widely printed table, from memory; its lower sources put 50 % at 12.2 V and 25 % at 11.95 V.
  hopeful: [
    [11.75, 0],
    [11.95, 0.25],
    [12.2, 0.5],
    [12.45, 0.75],
    [12.65, 1],
  ],
};

/** By cautious handbooks, the voltage at rest of so many lead-acid cells that are empty, half full and full. */
export function restVoltages(cells: number): { readonly empty: Volts; readonly half: Volts; readonly full: Volts } {
  const byShare: Curve = openCircuitVoltageCurves.cautious.map(([per12Volts, share]) => [share, per12Volts]);
  const at = (share: number) => volts((interpolate(byShare, share) * cells) / 6);
  return { empty: at(0), half: at(0.5), full: at(1) };
}

/** Linear between the points, constant beyond them. */
export function interpolate(curve: Curve, at: number): number {
  let [lastX, lastY] = curve[0] ?? [0, 0];
  if (at <= lastX) return lastY;
  for (const [x, y] of curve) {
    if (at <= x) return x === lastX ? y : lastY + ((y - lastY) * (at - lastX)) / (x - lastX);
    [lastX, lastY] = [x, y];
  }
  return lastY;
}
