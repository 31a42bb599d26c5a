import type { Readings } from "../facts.ts";
import type { Fault } from "../faults.ts";
import type { FeederSettings } from "../feeder.ts";
import { type Instant, minutes } from "../instant.ts";
import { type Charging, chargingInFrost, feltCharging, notCharging } from "./charging.ts";
import { batteryFreezing, type FreezingBattery, feltBattery, unmeasuredBattery } from "./freezingBattery.ts";
import { dry, type Frost, feltFrost, frostInside } from "./frost.ts";

/** What cold does to a feeder, each finding with its own memory and deadband. */
export interface ColdState {
  readonly frost: Frost;
  readonly battery: FreezingBattery;
  readonly charging: Charging;
}

export const noCold = (): ColdState => ({ frost: dry(), battery: unmeasuredBattery(), charging: notCharging() });

/** Takes in the readings of one report. A quantity that wasn't said leaves what was found by it as it is. */
export function felt(cold: ColdState, readings: Readings, at: Instant, settings: FeederSettings): ColdState {
  return {
    frost: feltFrost(cold.frost, readings, at),
    battery: settings.battery === "leadAcid" ? feltBattery(cold.battery, readings, at) : unmeasuredBattery(),
    charging: isLithium(settings) ? feltCharging(cold.charging, readings, at) : notCharging(),
  };
}

/** Findings whose readings are too old prove nothing any more: a silent feeder may have thawed long ago. */
export function coldFaults(cold: ColdState, settings: FeederSettings, now: Instant): Fault[] {
  const oldestThatCounts = now - Math.max(staleAfter, 2 * settings.reportEvery);
  const faults: Fault[] = [];
  const frost = cold.frost.found;
  if (frost && frost.at >= oldestThatCounts) faults.push(frostInside(frost, cold.frost.freezeThaw));
  const battery = cold.battery.found;
  if (battery && settings.battery === "leadAcid" && battery.at >= oldestThatCounts)
    faults.push(batteryFreezing(battery));
  const charging = cold.charging.found;
  if (charging && isLithium(settings) && charging.at >= oldestThatCounts) faults.push(chargingInFrost(charging));
  return faults;
}

/** A box of wood and seed changes its temperature over tens of minutes. Common practice, no source. */
const staleAfter = minutes(30);

const isLithium = ({ battery }: FeederSettings): boolean =>
  battery === "lithiumIon" || battery === "lithiumIronPhosphate";
