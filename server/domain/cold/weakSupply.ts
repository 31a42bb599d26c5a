import type { Evidence, Fault } from "../faults.ts";
import type { Instant } from "../instant.ts";
import type { Portion, Readings } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import { type Celsius, type Volts, volts } from "../units.ts";
import { coldBatteryText } from "./capacityInCold.ts";
import { temperatureText } from "./temperatureText.ts";

/**
 * A supply that breaks down while the motor pulls: a sag of a tenth of a second starts the board anew in the middle of a
 * portion. So it is the least of each run that counts, which the portion tells; where it doesn't, the least since the last
 * report, if the motor ran meanwhile. One sag proves nothing (a cold start, a glitch of the converter), repeated ones do.
 */
export interface SupplyState {
  /** What the rail is like as a rule, and from how many values that is known. */
  readonly usualVoltage: Volts | null;
  readonly valuesLearnt: number;
  readonly hasReadings: boolean; // supplyVolts is said at all; else the portions' own values teach
  /** The motor ran, and no portion has told how the supply took it. */
  readonly hasUnmeasuredRun: boolean;
  /** Log odds, summed as by Page (1954), for "often too low" against "now and then". */
  readonly evidence: number;
  readonly sagCount: number; // since the evidence last was nothing
  readonly runCount: number;
  readonly lowest: { readonly volts: Volts; readonly at: Instant } | null;
  readonly batteryTemperature: Celsius | null;
  readonly isWeak: boolean;
}

export const initialSupply = (): SupplyState => ({
  usualVoltage: null,
  valuesLearnt: 0,
  hasReadings: false,
  hasUnmeasuredRun: false,
  evidence: 0,
  sagCount: 0,
  runCount: 0,
  lowest: null,
  batteryTemperature: null,
  isWeak: false,
});

export function updateSupplyByPortion(
  before: SupplyState,
  { motorRan, lowestSupply }: Portion,
  at: Instant,
): SupplyState {
  if (motorRan === 0) return before;
  if (lowestSupply === null) return before.hasUnmeasuredRun ? before : { ...before, hasUnmeasuredRun: true };
  return updateSagEvidence(before.hasReadings ? before : updateUsualVoltage(before, lowestSupply), lowestSupply, at);
}

export function updateSupplyByReadings(before: SupplyState, readings: Readings, at: Instant): SupplyState {
  const { supply } = readings;
  const battery = readings.batteryTemperature ?? readings.inside ?? before.batteryTemperature;
  if (supply === null)
    return battery === before.batteryTemperature ? before : { ...before, batteryTemperature: battery };
  const taught = updateUsualVoltage(
    { ...before, hasReadings: true, hasUnmeasuredRun: false, batteryTemperature: battery },
    supply,
  );
  return before.hasUnmeasuredRun ? updateSagEvidence(taught, supply, at) : taught;
}

export function weakSupplyFault(supply: SupplyState, settings: FeederSettings): Fault | null {
  const { isWeak, lowest, usualVoltage, sagCount, runCount, batteryTemperature } = supply;
  if (!isWeak || lowest === null || usualVoltage === null) return null;
  const cold = batteryTemperature === null ? null : coldBatteryText(settings.battery, batteryTemperature);
  const least = supplyVoltageMin(usualVoltage);
  const evidence: Evidence[] = [
    { label: "lowest while the motor ran", value: voltageText(lowest.volts), at: lowest.at },
    { label: "too low below", value: voltageText(least), at: null },
    { label: "runs with too little", value: `${sagCount} of ${runCount}`, at: null },
    { label: "usual supply", value: voltageText(usualVoltage), at: null },
  ];
  if (batteryTemperature !== null)
    evidence.push({ label: "temperature of the battery", value: temperatureText(batteryTemperature), at: null });
  return {
    kind: "supplyWeak",
    reason:
      `In ${sagCount} of the last ${runCount} runs of the motor the supply fell below ${voltageText(least)}, ` +
      `at worst to ${voltageText(lowest.volts)}.${cold === null ? "" : ` ${cold}`}`,
    evidence,
    confidence: null,
  };
}

/**
 * Below this the board behind the rail is in danger. 5 V: the warning threshold of a widespread family of boards (from
 * memory). Others: a tenth below what the rail is named for, or, where it has no usual name, below what is usual.
 */
export function supplyVoltageMin(usual: Volts): Volts {
  for (const { nominal, from, to, least } of rails)
    if (usual >= from && usual <= to) return volts(least ?? 0.9 * nominal);
  return volts(0.9 * usual);
}

/** Rails by ± 10 %; a battery of 12 or 24 V goes from flat to charging, which is more. */
const rails = [
  { nominal: 3.3, from: 2.97, to: 3.63, least: null },
  { nominal: 5, from: 4.5, to: 5.5, least: 4.63 },
  { nominal: 12, from: 10.5, to: 15, least: null },
  { nominal: 24, from: 21, to: 30, least: null },
] as const;

function updateUsualVoltage(before: SupplyState, value: Volts): SupplyState {
  const count = Math.min(before.valuesLearnt + 1, learnOver);
  const usual =
    before.usualVoltage === null ? value : volts(before.usualVoltage + (value - before.usualVoltage) / count);
  return { ...before, usualVoltage: usual, valuesLearnt: count };
}

function updateSagEvidence(before: SupplyState, lowest: Volts, at: Instant): SupplyState {
  if (before.usualVoltage === null || before.valuesLearnt < knownFrom) return before;
  const sagged = lowest < supplyVoltageMin(before.usualVoltage);
  const evidence = Math.min(evidenceMax, Math.max(0, before.evidence + (sagged ? sagEvidence : noSagEvidence)));
  if (evidence === 0) {
    const clean = before.sagCount === 0 && before.runCount === 0 && !before.isWeak;
    return clean ? before : { ...before, evidence: 0, sagCount: 0, runCount: 0, lowest: null, isWeak: false };
  }
  const least =
    sagged && (before.lowest === null || lowest <= before.lowest.volts) ? { volts: lowest, at } : before.lowest;
  return {
    ...before,
    evidence,
    sagCount: before.sagCount + (sagged ? 1 : 0),
    runCount: before.runCount + 1,
    lowest: least,
    isWeak: before.isWeak ? evidence >= evidenceToRaise / 2 : evidence >= evidenceToRaise,
  };
}

const voltageText = (value: Volts): string => `${value.toFixed(2)} V`;

// A sound supply may sag in one run of a hundred (a cold start, a converter's glitch), a weak one does in three of ten.
const healthySagShare = 0.01;
const weakSagShare = 0.3;
const sagEvidence = Math.log(weakSagShare / healthySagShare);
const noSagEvidence = Math.log((1 - weakSagShare) / (1 - healthySagShare));
/**
 * The mean run to a false alarm is at least e to this (Lorden 1971): 40,000 portions, which is more than a year of a
 * hundred a day. It takes four sags close together.
 */
const evidenceToRaise = Math.log(40_000);
/** So that some twenty good runs clear it, however long it was bad. */
const evidenceMax = evidenceToRaise + sagEvidence;
const learnOver = 500;
const knownFrom = 10;
