import { temperatureText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { BatteryKind } from "../settings.ts";
import { type Celsius, celsius } from "../units.ts";
import { type Curve, interpolate } from "./battery.ts";

/**
 * What share of its capacity at 25 °C a lead-acid battery still gives: one over the cell-size correction of IEEE Std 485,
 * table 1 (from memory). The table ends at -4 °C; below it the last value is an upper limit.
 */
export const leadAcidCapacity = (battery: Celsius): number => interpolate(relativeCapacity, battery);

const fahrenheit = (degrees: number): number => ((degrees - 32) * 5) / 9;
const relativeCapacity: Curve = [
  [fahrenheit(25), 1 / 1.52],
  [fahrenheit(40), 1 / 1.3],
  [fahrenheit(50), 1 / 1.19],
  [fahrenheit(60), 1 / 1.11],
  [fahrenheit(77), 1],
];

/** Below this lithium cells should not be discharged: a cell maker's data and general guidance, both seen second-hand. */
export const dischargeTemperatureMin = { lithiumIronPhosphate: celsius(-30), lithiumIon: celsius(-20) } as const;
/** From here on makers' sheets for either kind show little left; common practice, no source. */
const lithiumWeakCelsius = -20;

/** A sentence for the keeper on what this cold does to the battery; null where it does little. */
export function coldBatteryText(kind: BatteryKind, battery: Celsius): string | null {
  switch (kind) {
    case "leadAcid": {
      const share = leadAcidCapacity(battery);
      if (share > 0.87) return null;
      if (battery < fahrenheit(25)) return texts.cold.capacity.twoThirdsAtMost;
      if (share > 0.8) return texts.cold.capacity.fourFifths;
      return share > 0.7 ? texts.cold.capacity.threeQuarters : texts.cold.capacity.twoThirds;
    }
    case "lithiumIronPhosphate":
    case "lithiumIon":
      if (battery < dischargeTemperatureMin[kind])
        return texts.cold.capacity.tooColdForKind(temperatureText(dischargeTemperatureMin[kind]));
      return battery < lithiumWeakCelsius ? texts.cold.capacity.weakLithium : null;
    case "none":
      return null;
  }
}
