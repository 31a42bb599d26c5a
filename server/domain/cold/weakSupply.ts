import { temperatureText, voltageText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { Evidence, Fault } from "../faults.ts";
import type { Instant } from "../instant.ts";
import type { Portion, Readings } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import { type Celsius, type Volts, volts } from "../units.ts";
import { coldBatteryText } from "./capacityInCold.ts";

/**
 * A supply that drops while the motor runs: a voltage drop of a tenth of a second restarts the board in the middle of a portion.
 * So the lowest voltage of each run counts, which the portion reports; otherwise the lowest since the last report, if the motor
 * ran meanwhile. One drop proves nothing (a cold start, a glitch of the converter), repeated ones do.
 */
export interface SupplyState {
  /** The usual voltage, and from how many values it is known. */
  readonly usualVoltage: Volts | null;
  readonly valuesLearnt: number;
  readonly hasReadings: boolean; // supplyVolts is reported; else the usual voltage is learnt from portions
  /** The motor ran, and no portion reported the voltage. */
  readonly hasUnmeasuredRun: boolean;
  /** Log odds, summed as by Page (1954), for "often too low" against "now and then". */
  readonly evidence: number;
  readonly sagCount: number; // since the evidence was last zero
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
  const learnt = updateUsualVoltage(
    { ...before, hasReadings: true, hasUnmeasuredRun: false, batteryTemperature: battery },
    supply,
  );
  return before.hasUnmeasuredRun ? updateSagEvidence(learnt, supply, at) : learnt;
}

export function weakSupplyFault(supply: SupplyState, settings: FeederSettings): Fault | null {
  const { isWeak, lowest, usualVoltage, sagCount, runCount, batteryTemperature } = supply;
  if (!isWeak || lowest === null || usualVoltage === null) return null;
  const coldText = batteryTemperature === null ? null : coldBatteryText(settings.battery, batteryTemperature);
  const minimum = supplyVoltageMin(usualVoltage);
  const text = texts.cold.weakSupply;
  const evidence: Evidence[] = [
    { label: text.lowestLabel, value: voltageText(lowest.volts), at: lowest.at },
    { label: text.minimumLabel, value: voltageText(minimum), at: null },
    { label: text.runsLabel, value: text.runs(sagCount, runCount), at: null },
    { label: text.usualLabel, value: voltageText(usualVoltage), at: null },
  ];
  if (batteryTemperature !== null)
    evidence.push({ label: text.temperatureLabel, value: temperatureText(batteryTemperature), at: null });
  const reason = text.reason(sagCount, runCount, voltageText(minimum), voltageText(lowest.volts));
  return {
    kind: "supplyWeak",
    reason: coldText === null ? reason : `${reason} ${coldText}`,
    evidence,
    confidence: null,
  };
}

/**
 * Below this the board may restart. 5 V: the warning threshold of a widespread family of boards (from
 * memory). Others: a tenth below the nominal voltage, or, without one, below the usual voltage.
 */
export function supplyVoltageMin(usualVoltage: Volts): Volts {
  for (const { nominal, from, to, least: minimum } of rails)
    if (usualVoltage >= from && usualVoltage <= to) return volts(minimum ?? 0.9 * nominal);
  return volts(0.9 * usualVoltage);
}

/** Rails by ± 10 %; a battery of 12 or 24 V goes from flat to charging, which is more. */
const rails = [
  { nominal: 3.3, from: 2.97, to: 3.63, least: null },
  { nominal: 5, from: 4.5, to: 5.5, least: 4.63 },
  { nominal: 12, from: 10.5, to: 15, least: null },
  { nominal: 24, from: 21, to: 30, least: null },
] as const;

function updateUsualVoltage(before: SupplyState, value: Volts): SupplyState {
  const valuesLearnt = Math.min(before.valuesLearnt + 1, valuesLearntMax);
  const usualVoltage =
    before.usualVoltage === null ? value : volts(before.usualVoltage + (value - before.usualVoltage) / valuesLearnt);
  return { ...before, usualVoltage, valuesLearnt };
}

function updateSagEvidence(before: SupplyState, lowest: Volts, at: Instant): SupplyState {
  if (before.usualVoltage === null || before.valuesLearnt < valuesKnownMin) return before;
  const isSag = lowest < supplyVoltageMin(before.usualVoltage);
  const evidence = Math.min(evidenceMax, Math.max(0, before.evidence + (isSag ? sagEvidence : noSagEvidence)));
  if (evidence === 0) return isSupplyClear(before) ? before : { ...before, ...clearSupply };
  return {
    ...before,
    evidence,
    sagCount: before.sagCount + (isSag ? 1 : 0),
    runCount: before.runCount + 1,
    lowest: isSag ? lowerReading(before.lowest, { volts: lowest, at }) : before.lowest,
    isWeak: evidence >= (before.isWeak ? evidenceToRaise / 2 : evidenceToRaise),
  };
}

type LowestVoltage = NonNullable<SupplyState["lowest"]>;

const lowerReading = (known: LowestVoltage | null, reading: LowestVoltage): LowestVoltage =>
  known === null || reading.volts <= known.volts ? reading : known;

const clearSupply = { evidence: 0, sagCount: 0, runCount: 0, lowest: null, isWeak: false } as const;

const isSupplyClear = ({ sagCount, runCount, isWeak }: SupplyState): boolean =>
  sagCount === 0 && runCount === 0 && !isWeak;

// A healthy supply may drop in one run of a hundred (a cold start, a converter's glitch), a weak one does in three of ten.
const healthySagShare = 0.01;
const weakSagShare = 0.3;
const sagEvidence = Math.log(weakSagShare / healthySagShare);
const noSagEvidence = Math.log((1 - weakSagShare) / (1 - healthySagShare));
/**
 * The mean run to a false alarm is at least e to this (Lorden 1971): 40,000 portions, which is more than a year of a
 * hundred a day. It takes four drops close together.
 */
const evidenceToRaise = Math.log(40_000);
/** So that some twenty good runs clear it, however long it was bad. */
const evidenceMax = evidenceToRaise + sagEvidence;
const valuesLearntMax = 500;
const valuesKnownMin = 10;
