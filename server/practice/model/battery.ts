import type { Span } from "../../domain/instant.ts";
import type { BatteryKind } from "../../domain/settings.ts";

/** A battery and its panel, as exact as the effects of cold need it. */
export interface Battery {
  /** 0 empty .. 1 full. */
  readonly chargeShare: number;
}

const capacityMilliampHours = 12_000;
const loadMilliamps = 55; // board, radio and now and then the motor, as a mean
const panelMilliamps = 4_000; // under a sun straight above and a clear sky

/** Current from the panel into the battery. A lithium battery's own guard refuses charge in frost; the fault bypasses it. */
export function chargeCurrent(
  kind: BatteryKind,
  charged: number,
  sunAltitudeDegrees: number,
  cloud: number,
  batteryCelsius: number,
): number {
  const lithium = kind === "lithiumIronPhosphate" || kind === "lithiumIon";
  if (kind === "none" || (lithium && batteryCelsius < 1) || sunAltitudeDegrees <= 0) return 0;
  const offered = panelMilliamps * Math.sin((sunAltitudeDegrees * Math.PI) / 180) * (1 - 0.75 * cloud);
  return Math.round(offered * Math.min(1, (1 - charged) * 8 + 0.02)); // tapers towards full
}

export function advanceBattery(battery: Battery, chargeMilliamps: number, span: Span): Battery {
  const charged = battery.chargeShare + ((chargeMilliamps - loadMilliamps) * span) / 3_600_000 / capacityMilliampHours;
  // The practice keeper replaces the battery before it is low: a weak battery is a fault to be chosen.
  return { chargeShare: charged < 0.6 ? 0.95 : Math.min(1, charged) };
}

/**
 * Terminal voltage of a nominal 12 V battery under the board's load.
 * Lead-acid at rest: the widely printed table 11.89, 12.06, 12.24, 12.45, 12.65 V at 0..100 % (from memory; handbooks differ
 * by 0.1 V), less 0.12 V under load. Lithium iron phosphate: the flat middle of its curve (common practice, no source).
 */
export function terminalVolts(kind: BatteryKind, charged: number, chargeMilliamps: number): number {
  const lifted = chargeMilliamps > 0 ? 0.4 : -0.12;
  switch (kind) {
    case "none":
      return 0;
    case "leadAcid":
      return interpolateTable([11.89, 12.06, 12.24, 12.45, 12.65], charged) + lifted;
    case "lithiumIronPhosphate":
      return interpolateTable([12.0, 12.9, 13.1, 13.2, 13.35], charged) + lifted / 2;
    case "lithiumIon":
      return interpolateTable([9.6, 10.8, 11.1, 11.7, 12.5], charged) + lifted / 2;
  }
}

function interpolateTable(table: readonly number[], share: number): number {
  const place = Math.min(Math.max(share, 0), 1) * (table.length - 1);
  const below = Math.min(Math.floor(place), table.length - 2);
  const from = table[below];
  const to = table[below + 1];
  if (from === undefined || to === undefined)
    throw new RangeError(`expected a table of two values or more, got ${table}`);
  return from + (to - from) * (place - below);
}
