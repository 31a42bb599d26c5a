import { type FaultKind, faultKinds } from "../faults.ts";
import type { Instant } from "../instant.ts";
import {
  type CountName,
  countNames,
  type LevelRollup,
  type Measure,
  type MeasureName,
  measureNames,
  type Rollup,
  type RollupCounts,
} from "./rollup.ts";

/**
 * A roll-up as short text: about 100 characters for a quarter of an hour. Groups end with ";": counts, grams, level, one for each
 * measure, alarms. Numbers are in base 36 with "," between, and 0 is left out. What is not known is an empty group, and "?" for the
 * grams. Numbers that lie close together are written as differences. The same roll-up always gives the same text.
 */
export function encodeRollup({ counts, decigramsGiven, level, measures, standingAlarms }: Rollup): string {
  const groups = [
    countNames.map((name) => digitsOf(counts[name])).join(","),
    decigramsGiven === null ? unknownGrams : digitsOf(decigramsGiven),
    level === null ? "" : encodeLevel(level),
    ...measureNames.map((name) => encodeMeasure(measures[name], counts.reports)),
    standingAlarms.join(","),
  ];
  groups[0] = groups[0]?.replace(/,+$/, "") ?? "";
  return groups.join(";").replace(/;+$/, "");
}

const unknownGrams = "?";
const digitsOf = (count: number): string => (count === 0 ? "" : count.toString(36));
const group = (numbers: readonly number[]): string => numbers.map(digitsOf).join(",");

const encodeLevel = ({ at, last, low, high, least, most }: LevelRollup): string =>
  group([at, last, last - low, high - last, last - least, most - last]);

/** As a rule each report has each reading, so the count is the difference to the reports. */
const encodeMeasure = (measure: Measure | null, reports: number): string =>
  measure === null
    ? ""
    : group([
        measure.count - reports,
        measure.least,
        measure.most - measure.least,
        measure.sum - measure.least * measure.count,
      ]);

/**
 * The inverse of `encodeRollup`. A kind of fault that this version doesn't know is left out.
 * @throws RangeError where the text is none of `encodeRollup`.
 */
export function decodeRollup(text: string): Rollup {
  const groups = text.split(";");
  const [countsText = "", gramsText = "", levelText = ""] = groups;
  if (groups.length > groupsMax) throw malformed(text);
  const counts = decodeCounts(countsText, text);
  const measureOf = (index: number) => decodeMeasure(groups[firstMeasure + index] ?? "", counts.reports, text);
  return {
    counts,
    decigramsGiven: gramsText === unknownGrams ? null : numberOf(gramsText, text),
    level: levelText === "" ? null : decodeLevel(levelText, text),
    measures: Object.fromEntries(measureNames.map((name, index) => [name, measureOf(index)])) as {
      [name in MeasureName]: Measure | null;
    },
    standingAlarms: decodeKinds(groups[firstMeasure + measureNames.length] ?? ""),
  };
}

const firstMeasure = 3;
const groupsMax = firstMeasure + measureNames.length + 1;

function decodeCounts(groupText: string, text: string): RollupCounts {
  const numbers = numbersOf(groupText, text);
  if (numbers.length > countNames.length) throw malformed(text);
  const counts: Partial<Record<CountName, number>> = {};
  for (const [index, name] of countNames.entries()) counts[name] = numbers[index] ?? 0;
  return counts as RollupCounts;
}

function decodeLevel(groupText: string, text: string): LevelRollup {
  const numbers = numbersOf(groupText, text);
  if (numbers.length !== 6) throw malformed(text);
  const [at = 0, last = 0, below = 0, above = 0, toLeast = 0, toMost = 0] = numbers;
  return {
    at: at as Instant,
    last,
    low: last - below,
    high: last + above,
    least: last - toLeast,
    most: last + toMost,
  };
}

function decodeMeasure(groupText: string, reports: number, text: string): Measure | null {
  if (groupText === "") return null;
  const numbers = numbersOf(groupText, text);
  if (numbers.length !== 4) throw malformed(text);
  const [moreThanReports = 0, least = 0, range = 0, excess = 0] = numbers;
  const count = reports + moreThanReports;
  return { count, sum: least * count + excess, least, most: least + range };
}

const isFaultKind = (name: string): name is FaultKind => knownKinds.has(name);
const knownKinds: ReadonlySet<string> = new Set(faultKinds);
const decodeKinds = (groupText: string): readonly FaultKind[] => groupText.split(",").filter(isFaultKind);

const numbersOf = (groupText: string, text: string): readonly number[] =>
  groupText.split(",").map((digits) => numberOf(digits, text));

function numberOf(digits: string, text: string): number {
  if (digits === "") return 0;
  const number = Number.parseInt(digits, 36);
  if (!Number.isSafeInteger(number) || number.toString(36) !== digits) throw malformed(text);
  return number;
}

const malformed = (text: string): RangeError => new RangeError(`expected a roll-up as text, got "${text}"`);
