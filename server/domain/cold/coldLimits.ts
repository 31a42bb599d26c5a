import { isAssumed } from "../assumedSettings.ts";
import type { BatteryKind, FeederSettings } from "../settings.ts";
import { leadAcidCellCount, restVoltages } from "./battery.ts";
import { dischargeTemperatureMin } from "./capacityInCold.ts";
import { batteryColdBelow, boxColdBelow } from "./charging.ts";
import type { ColdState } from "./cold.ts";
import { presentFreezingPoint } from "./freezingBattery.ts";
import { freezeBelow, thawAbove } from "./frost.ts";

/** From where on cold matters to a feeder, by its settings: the limits that its alarms go by. Temperatures in °C. */
export interface ColdLimits {
  /** Water on the tray freezes below the one and thaws above the other; between them it may be either. */
  readonly trayFreezesBelowCelsius: number;
  readonly trayThawsAboveCelsius: number;
  readonly battery: BatteryLimits | null; // null: its kind was not entered, or there is none
}
export interface BatteryLimits {
  readonly kind: Exclude<BatteryKind, "none">;
  readonly chargesAboveCelsius: number | null; // in the cells; null: this kind may be charged in the cold
  readonly chargesAboveByBoxCelsius: number | null; // by a thermometer in the box
  readonly dischargesAboveCelsius: number | null;
  /** At its present charge, cautiously; null: not known, or of no matter to this kind. */
  readonly freezesBelowCelsius: number | null;
  /** At rest; null where the voltage shows nothing. */
  readonly restVolts: { readonly empty: number; readonly half: number; readonly full: number } | null;
}

export const coldLimits = (settings: FeederSettings, cold: ColdState): ColdLimits => ({
  trayFreezesBelowCelsius: freezeBelow,
  trayThawsAboveCelsius: thawAbove,
  battery: isAssumed(settings, "battery") ? null : batteryLimits(settings.battery, cold),
});

function batteryLimits(kind: BatteryKind, { battery }: ColdState): BatteryLimits | null {
  switch (kind) {
    case "none":
      return null;
    case "lithiumIronPhosphate":
    case "lithiumIon":
      return {
        kind,
        chargesAboveCelsius: batteryColdBelow,
        chargesAboveByBoxCelsius: boxColdBelow,
        dischargesAboveCelsius: dischargeTemperatureMin[kind],
        freezesBelowCelsius: null,
        restVolts: null,
      };
    case "leadAcid": {
      const cells = battery.lastVoltage === null ? null : leadAcidCellCount(battery.lastVoltage);
      return {
        kind,
        chargesAboveCelsius: null,
        chargesAboveByBoxCelsius: null,
        dischargesAboveCelsius: null,
        freezesBelowCelsius: presentFreezingPoint(battery),
        restVolts: cells === null ? null : restVoltages(cells),
      };
    }
  }
}
