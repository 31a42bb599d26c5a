import type { Fault } from "../faults.ts";
import { type Instant, minutes } from "../instant.ts";
import type { Deposit, Portion, Readings } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import { type Caking, cakingFault, initialCaking, updateCaking } from "./caking.ts";
import { type ChargingState, chargingInFrostFault, initialCharging, updateCharging } from "./charging.ts";
import {
  type DetectorDrift,
  detectorDriftFault,
  initialDetectorDrift,
  updateDetectorByDeposit,
  updateDetectorByReadings,
} from "./detectorDrift.ts";
import {
  batteryFreezingFault,
  type FreezingBattery,
  initialFreezingBattery,
  updateFreezingBattery,
} from "./freezingBattery.ts";
import { type Frost, initialFrost, updateFrost } from "./frost.ts";
import { frostFault } from "./frostFault.ts";
import {
  initialSupply,
  type SupplyState,
  updateSupplyByPortion,
  updateSupplyByReadings,
  weakSupplyFault,
} from "./weakSupply.ts";

/** What cold does to a feeder, each finding with its own state and deadband. */
export interface ColdState {
  readonly frost: Frost;
  readonly battery: FreezingBattery;
  readonly charging: ChargingState;
  readonly caking: Caking;
  readonly supply: SupplyState;
  readonly detector: DetectorDrift;
}

export const initialCold = (): ColdState => ({
  frost: initialFrost(),
  battery: initialFreezingBattery(),
  charging: initialCharging(),
  caking: initialCaking(),
  supply: initialSupply(),
  detector: initialDetectorDrift(),
});

/** The readings of one report. A missing reading leaves its findings as they are. */
export function updateCold(cold: ColdState, readings: Readings, at: Instant, settings: FeederSettings): ColdState {
  return {
    frost: updateFrost(cold.frost, readings, at, settings),
    battery:
      settings.battery === "leadAcid" ? updateFreezingBattery(cold.battery, readings, at) : initialFreezingBattery(),
    charging: isLithium(settings) ? updateCharging(cold.charging, readings, at) : initialCharging(),
    caking: updateCaking(cold.caking, readings, at),
    supply: updateSupplyByReadings(cold.supply, readings, at),
    detector: updateDetectorByReadings(cold.detector, readings, at),
  };
}

/** The motor ran: whether the supply voltage dropped. */
export function updateColdByPortion(cold: ColdState, portion: Portion, at: Instant): ColdState {
  const supply = updateSupplyByPortion(cold.supply, portion, at);
  return supply === cold.supply ? cold : withSupplyAndDetector(cold, supply, cold.detector);
}

/** Something fell past the detector: the strength of its signal at this temperature. */
export function updateColdByDeposit(cold: ColdState, deposit: Deposit, at: Instant): ColdState {
  const detector = updateDetectorByDeposit(cold.detector, deposit, at);
  return detector === cold.detector ? cold : withSupplyAndDetector(cold, cold.supply, detector);
}

// Written out, not spread, as is all that runs for every event.
const withSupplyAndDetector = (
  { frost, battery, charging, caking }: ColdState,
  supply: ColdState["supply"],
  detector: ColdState["detector"],
): ColdState => ({ frost, battery, charging, caking, supply, detector });

/** Fresh food has not frozen yet. A keeper who adds some has seen the old food. */
export const updateColdByRefill = (cold: ColdState): ColdState => ({ ...cold, caking: initialCaking() });

/** Findings whose readings are too old prove nothing any more: a silent feeder may have thawed long ago. */
export function coldFaults(cold: ColdState, settings: FeederSettings, now: Instant): Fault[] {
  const oldestAt = now - Math.max(staleAfter, 2 * settings.reportEvery);
  const faults: Fault[] = [];
  const add = (fault: Fault | null) => {
    if (fault !== null) faults.push(fault);
  };
  const frost = cold.frost.found;
  if (frost && frost.at >= oldestAt) add(frostFault(frost, cold.frost.freezeThaw));
  const battery = cold.battery.found;
  if (battery && settings.battery === "leadAcid" && battery.at >= oldestAt) add(batteryFreezingFault(battery));
  const charging = cold.charging.found;
  if (charging && isLithium(settings) && charging.at >= oldestAt) add(chargingInFrostFault(charging, now));
  // Food and supply don't recover without readings.
  add(cakingFault(cold.caking));
  add(weakSupplyFault(cold.supply, settings));
  const drift = cold.detector.found;
  if (drift && settings.sensors.detector && drift.at >= oldestAt) add(detectorDriftFault(cold.detector));
  return faults;
}

/** A box of wood and seed changes its temperature over tens of minutes. Common practice, no source. */
const staleAfter = minutes(30);

const isLithium = ({ battery }: FeederSettings): boolean =>
  battery === "lithiumIon" || battery === "lithiumIronPhosphate";
