import type { Evidence, Fault } from "../faults.ts";
import type { Instant } from "../instant.ts";
import type { Portion, Readings } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import { type Celsius, type Volts, volts } from "../units.ts";
import { coldCosts } from "./capacityInCold.ts";
import { degrees } from "./degrees.ts";

/**
 * A supply that breaks down while the motor pulls: a sag of a tenth of a second starts the board anew in the middle of a
 * portion. So it is the least of each run that counts, which the portion tells; where it doesn't, the least since the last
 * report, if the motor ran meanwhile. One sag proves nothing (a cold start, a glitch of the converter), repeated ones do.
 */
export interface Supply {
  /** What the rail is like as a rule, and from how many values that is known. */
  readonly usual: Volts | null;
  readonly learnt: number;
  readonly readingsTell: boolean; // supplyVolts is said at all; else the portions' own values teach
  /** The motor ran, and no portion has told how the supply took it. */
  readonly ranUnseen: boolean;
  /** Log odds, summed as by Page (1954), for "often too low" against "now and then". */
  readonly evidence: number;
  readonly sags: number; // since the evidence last was nothing
  readonly runs: number;
  readonly lowest: { readonly volts: Volts; readonly at: Instant } | null;
  readonly battery: Celsius | null;
  readonly weak: boolean;
}

export const untriedSupply = (): Supply => ({
  usual: null,
  learnt: 0,
  readingsTell: false,
  ranUnseen: false,
  evidence: 0,
  sags: 0,
  runs: 0,
  lowest: null,
  battery: null,
  weak: false,
});

export function supplyRan(before: Supply, { motorRan, lowestSupply }: Portion, at: Instant): Supply {
  if (motorRan === 0) return before;
  if (lowestSupply === null) return before.ranUnseen ? before : { ...before, ranUnseen: true };
  return weighed(before.readingsTell ? before : learnt(before, lowestSupply), lowestSupply, at);
}

export function feltSupply(before: Supply, readings: Readings, at: Instant): Supply {
  const { supply } = readings;
  const battery = readings.batteryTemperature ?? readings.inside ?? before.battery;
  if (supply === null) return battery === before.battery ? before : { ...before, battery };
  const taught = learnt({ ...before, readingsTell: true, ranUnseen: false, battery }, supply);
  return before.ranUnseen ? weighed(taught, supply, at) : taught;
}

export function supplyWeak(supply: Supply, settings: FeederSettings): Fault | null {
  const { weak, lowest, usual, sags, runs, battery } = supply;
  if (!weak || lowest === null || usual === null) return null;
  const cold = battery === null ? null : coldCosts(settings.battery, battery);
  const least = tooLow(usual);
  const evidence: Evidence[] = [
    { what: "lowest while the motor ran", value: said(lowest.volts), at: lowest.at },
    { what: "too low below", value: said(least), at: null },
    { what: "runs with too little", value: `${sags} of ${runs}`, at: null },
    { what: "usual supply", value: said(usual), at: null },
  ];
  if (battery !== null) evidence.push({ what: "temperature of the battery", value: degrees(battery), at: null });
  return {
    kind: "supplyWeak",
    reason:
      `In ${sags} of the last ${runs} runs of the motor the supply fell below ${said(least)}, ` +
      `at worst to ${said(lowest.volts)}.${cold === null ? "" : ` ${cold}`}`,
    evidence,
    sure: null,
  };
}

/**
 * Below this the board behind the rail is in danger. 5 V: the warning threshold of a widespread family of boards (from
 * memory). Others: a tenth below what the rail is named for, or, where it has no usual name, below what is usual.
 */
export function tooLow(usual: Volts): Volts {
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

function learnt(before: Supply, value: Volts): Supply {
  const count = Math.min(before.learnt + 1, learnOver);
  const usual = before.usual === null ? value : volts(before.usual + (value - before.usual) / count);
  return { ...before, usual, learnt: count };
}

function weighed(before: Supply, lowest: Volts, at: Instant): Supply {
  if (before.usual === null || before.learnt < knownFrom) return before;
  const sagged = lowest < tooLow(before.usual);
  const evidence = Math.min(evidenceMax, Math.max(0, before.evidence + (sagged ? sagWeighs : soundWeighs)));
  if (evidence === 0) {
    const clean = before.sags === 0 && before.runs === 0 && !before.weak;
    return clean ? before : { ...before, evidence: 0, sags: 0, runs: 0, lowest: null, weak: false };
  }
  const least =
    sagged && (before.lowest === null || lowest <= before.lowest.volts) ? { volts: lowest, at } : before.lowest;
  return {
    ...before,
    evidence,
    sags: before.sags + (sagged ? 1 : 0),
    runs: before.runs + 1,
    lowest: least,
    weak: before.weak ? evidence >= raisedFrom / 2 : evidence >= raisedFrom,
  };
}

const said = (value: Volts): string => `${value.toFixed(2)} V`;

// A sound supply may sag in one run of a hundred (a cold start, a converter's glitch), a weak one does in three of ten.
const soundShare = 0.01;
const weakShare = 0.3;
const sagWeighs = Math.log(weakShare / soundShare);
const soundWeighs = Math.log((1 - weakShare) / (1 - soundShare));
/**
 * The mean run to a false alarm is at least e to this (Lorden 1971): 40,000 portions, which is more than a year of a
 * hundred a day. It takes four sags close together.
 */
const raisedFrom = Math.log(40_000);
/** So that some twenty good runs clear it, however long it was bad. */
const evidenceMax = raisedFrom + sagWeighs;
const learnOver = 500;
const knownFrom = 10;
