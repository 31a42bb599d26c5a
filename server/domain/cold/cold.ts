import type { Fault } from "../faults.ts";
import { type Instant, minutes } from "../instant.ts";
import type { Deposit, Portion, Readings } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import { type Caking, feedCaking, feltCaking, freshFood } from "./caking.ts";
import { type Charging, chargingInFrost, feltCharging, notCharging } from "./charging.ts";
import { type DetectorDrift, detectorDrifting, detectorHeard, feltDetector, untriedDetector } from "./detectorDrift.ts";
import { batteryFreezing, type FreezingBattery, feltBattery, unmeasuredBattery } from "./freezingBattery.ts";
import { type Frost, feltFrost, noFrost } from "./frost.ts";
import { frostOrIce } from "./frostWords.ts";
import { feltSupply, type Supply, supplyRan, supplyWeak, untriedSupply } from "./weakSupply.ts";

/** What cold does to a feeder, each finding with its own memory and deadband. */
export interface ColdState {
  readonly frost: Frost;
  readonly battery: FreezingBattery;
  readonly charging: Charging;
  readonly caking: Caking;
  readonly supply: Supply;
  readonly detector: DetectorDrift;
}

export const noCold = (): ColdState => ({
  frost: noFrost(),
  battery: unmeasuredBattery(),
  charging: notCharging(),
  caking: freshFood(),
  supply: untriedSupply(),
  detector: untriedDetector(),
});

/** Takes in the readings of one report. A quantity that wasn't said leaves what was found by it as it is. */
export function felt(cold: ColdState, readings: Readings, at: Instant, settings: FeederSettings): ColdState {
  return {
    frost: feltFrost(cold.frost, readings, at, settings),
    battery: settings.battery === "leadAcid" ? feltBattery(cold.battery, readings, at) : unmeasuredBattery(),
    charging: isLithium(settings) ? feltCharging(cold.charging, readings, at) : notCharging(),
    caking: feltCaking(cold.caking, readings, at),
    supply: feltSupply(cold.supply, readings, at),
    detector: feltDetector(cold.detector, readings, at),
  };
}

/** The motor ran: how the supply took it. */
export function feltPortion(cold: ColdState, portion: Portion, at: Instant): ColdState {
  const supply = supplyRan(cold.supply, portion, at);
  return supply === cold.supply ? cold : { ...cold, supply };
}

/** Something fell past the detector: how strong it looked in this cold. */
export function feltDeposit(cold: ColdState, deposit: Deposit, at: Instant): ColdState {
  const detector = detectorHeard(cold.detector, deposit, at);
  return detector === cold.detector ? cold : { ...cold, detector };
}

/** Fresh food has not yet frozen. A keeper who only tops it up has at least seen what lies there. */
export const foodRefilled = (cold: ColdState): ColdState => ({ ...cold, caking: freshFood() });

/** Findings whose readings are too old prove nothing any more: a silent feeder may have thawed long ago. */
export function coldFaults(cold: ColdState, settings: FeederSettings, now: Instant): Fault[] {
  const oldestThatCounts = now - Math.max(staleAfter, 2 * settings.reportEvery);
  const faults: Fault[] = [];
  const add = (fault: Fault | null) => {
    if (fault !== null) faults.push(fault);
  };
  const frost = cold.frost.found;
  if (frost && frost.at >= oldestThatCounts) add(frostOrIce(frost, cold.frost.freezeThaw));
  const battery = cold.battery.found;
  if (battery && settings.battery === "leadAcid" && battery.at >= oldestThatCounts) add(batteryFreezing(battery));
  const charging = cold.charging.found;
  if (charging && isLithium(settings) && charging.at >= oldestThatCounts) add(chargingInFrost(charging, now));
  // Neither food nor supply heals by not being looked at.
  add(feedCaking(cold.caking));
  add(supplyWeak(cold.supply, settings));
  const drift = cold.detector.found;
  if (drift && settings.sensors.detector && drift.at >= oldestThatCounts) add(detectorDrifting(cold.detector));
  return faults;
}

/** A box of wood and seed changes its temperature over tens of minutes. Common practice, no source. */
const staleAfter = minutes(30);

const isLithium = ({ battery }: FeederSettings): boolean =>
  battery === "lithiumIon" || battery === "lithiumIronPhosphate";
