import { type FaultKind, faultKinds } from "../faults.ts";
import type { Instant } from "../instant.ts";
import { countNames, type LevelRollup, type Measure, measureNames, type Rollup, type RollupCounts } from "./rollup.ts";

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
 * The inverse of `encodeRollup`. A kind of fault that this version doesn't know is left out. It reads thousands of rows for one
 * chart, so it goes through the text once, without splitting it.
 * @throws RangeError where the text is none of `encodeRollup`.
 */
export function decodeRollup(text: string): Rollup {
  const reader: Reader = { text, index: 0 };
  const counts = readCounts(reader);
  return {
    counts,
    decigramsGiven: readGrams(reader),
    level: readLevel(reader),
    measures: {
      air: readMeasure(reader, counts.reports),
      inside: readMeasure(reader, counts.reports),
      supply: readMeasure(reader, counts.reports),
      battery: readMeasure(reader, counts.reports),
      charge: readMeasure(reader, counts.reports),
    },
    standingAlarms: readKinds(reader),
  };
}

interface Reader {
  readonly text: string;
  index: number;
}

/** Written out, in the order of `countNames`: a loop over names takes twice as long. */
function readCounts(reader: Reader): RollupCounts {
  const counts: RollupCounts = {
    reports: readNext(reader),
    reportedTime: readNext(reader),
    pausedTime: readNext(reader),
    visits: readNext(reader),
    presses: readNext(reader),
    deposits: readNext(reader),
    depositsPaid: readNext(reader),
    depositsUnpaid: readNext(reader),
    timerPortions: readNext(reader),
    pressPortions: readNext(reader),
    depositPortions: readNext(reader),
    keeperPortions: readNext(reader),
    alarmsRaised: readNext(reader),
  };
  endGroup(reader);
  return counts;
}

function readGrams(reader: Reader): number | null {
  const isUnknown = codeAt(reader.text, reader.index) === unknownGrams.charCodeAt(0);
  if (isUnknown) reader.index += 1;
  const decigrams = isUnknown ? null : readNumber(reader);
  endGroup(reader);
  return decigrams;
}

function readLevel(reader: Reader): LevelRollup | null {
  if (isEmptyGroup(reader)) return null;
  const at = readBeforeComma(reader) as Instant;
  const last = readBeforeComma(reader);
  const low = last - readBeforeComma(reader);
  const high = last + readBeforeComma(reader);
  const least = last - readBeforeComma(reader);
  const most = last + readNumber(reader);
  endGroup(reader);
  return { at, last, low, high, least, most };
}

function readMeasure(reader: Reader, reports: number): Measure | null {
  if (isEmptyGroup(reader)) return null;
  const count = reports + readBeforeComma(reader);
  const least = readBeforeComma(reader);
  const most = least + readBeforeComma(reader);
  const sum = least * count + readNumber(reader);
  endGroup(reader);
  return { count, sum, least, most };
}

function readKinds(reader: Reader): readonly FaultKind[] {
  const { text, index } = reader;
  if (index >= text.length) return [];
  if (text.includes(";", index)) throw malformed(reader);
  return text.slice(index).split(",").filter(isFaultKind);
}

const isFaultKind = (name: string): name is FaultKind => knownKinds.has(name);
const knownKinds: ReadonlySet<string> = new Set(faultKinds);

/** Whether it has no number; then it is left behind. */
function isEmptyGroup(reader: Reader): boolean {
  if (!isAtGroupEnd(reader)) return false;
  reader.index += 1;
  return true;
}

const isAtGroupEnd = ({ text, index }: Reader): boolean => index >= text.length || codeAt(text, index) === semicolon;

function endGroup(reader: Reader): void {
  if (!isAtGroupEnd(reader)) throw malformed(reader);
  reader.index += 1;
}

/** A number of a group that may end before it: then 0. */
function readNext(reader: Reader): number {
  const number = readNumber(reader);
  if (codeAt(reader.text, reader.index) === comma) reader.index += 1;
  return number;
}

function readBeforeComma(reader: Reader): number {
  const number = readNumber(reader);
  if (codeAt(reader.text, reader.index) !== comma) throw malformed(reader);
  reader.index += 1;
  return number;
}

/** 0 where there are no digits. */
function readNumber(reader: Reader): number {
  const { text } = reader;
  const isNegative = codeAt(text, reader.index) === minus;
  const first = isNegative ? reader.index + 1 : reader.index;
  let number = 0;
  let index = first;
  for (let digit = digitOf(codeAt(text, index)); digit >= 0; digit = digitOf(codeAt(text, index))) {
    number = number * 36 + digit;
    index += 1;
  }
  const isCanonical = index > first ? text.charCodeAt(first) !== zero : !isNegative;
  if (!isCanonical || number > Number.MAX_SAFE_INTEGER) throw malformed(reader);
  reader.index = index;
  return isNegative ? -number : number;
}

// Codes of ASCII.
const comma = 44;
const minus = 45;
const semicolon = 59;
const zero = 48;
const nine = 57;
const letterA = 97;
const letterZ = 122;

/** -1 after the end: a NaN would slow all of this down. */
const codeAt = (text: string, index: number): number => (index < text.length ? text.charCodeAt(index) : -1);

/** -1 where it is no digit of base 36. */
function digitOf(code: number): number {
  if (code >= zero && code <= nine) return code - zero;
  return code >= letterA && code <= letterZ ? code - letterA + 10 : -1;
}

const malformed = ({ text }: Reader): RangeError => new RangeError(`expected a roll-up as text, got "${text}"`);
