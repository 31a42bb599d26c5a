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

function readCounts(reader: Reader): RollupCounts {
  const numbers = readGroup(reader);
  if (numbers.length > countNames.length) throw malformed(reader);
  const at = (index: number) => numbers[index] ?? 0;
  // Written out, in the order of `countNames`: a loop over names takes twice as long.
  return {
    reports: at(0),
    reportedTime: at(1),
    pausedTime: at(2),
    visits: at(3),
    presses: at(4),
    deposits: at(5),
    depositsPaid: at(6),
    depositsUnpaid: at(7),
    timerPortions: at(8),
    pressPortions: at(9),
    depositPortions: at(10),
    keeperPortions: at(11),
    alarmsRaised: at(12),
  };
}

function readGrams(reader: Reader): number | null {
  const isUnknown = codeAt(reader.text, reader.index) === unknownGrams.charCodeAt(0);
  if (isUnknown) reader.index += 1;
  const numbers = readGroup(reader);
  if (numbers.length > 1 || (isUnknown && numbers.length > 0)) throw malformed(reader);
  return isUnknown ? null : (numbers[0] ?? 0);
}

function readLevel(reader: Reader): LevelRollup | null {
  const numbers = readGroup(reader);
  if (numbers.length === 0) return null;
  if (numbers.length !== 6) throw malformed(reader);
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

function readMeasure(reader: Reader, reports: number): Measure | null {
  const numbers = readGroup(reader);
  if (numbers.length === 0) return null;
  if (numbers.length !== 4) throw malformed(reader);
  const [moreThanReports = 0, least = 0, range = 0, excess = 0] = numbers;
  const count = reports + moreThanReports;
  return { count, sum: least * count + excess, least, most: least + range };
}

function readKinds(reader: Reader): readonly FaultKind[] {
  const { text, index } = reader;
  if (index >= text.length) return [];
  if (text.includes(";", index)) throw malformed(reader);
  return text.slice(index).split(",").filter(isFaultKind);
}

const isFaultKind = (name: string): name is FaultKind => knownKinds.has(name);
const knownKinds: ReadonlySet<string> = new Set(faultKinds);

/** The numbers up to the next ";" or the end; [] for an empty group. */
function readGroup(reader: Reader): readonly number[] {
  const { text } = reader;
  const numbers: number[] = [];
  for (;;) {
    const before = reader.index;
    const number = readNumber(reader);
    const isWritten = reader.index > before;
    const isEnd = reader.index >= text.length;
    const separator = codeAt(text, reader.index);
    if (!isEnd && separator !== semicolon && separator !== comma) throw malformed(reader);
    if (isWritten || separator === comma || numbers.length > 0) numbers.push(number);
    reader.index += isEnd ? 0 : 1;
    if (separator !== comma) return numbers;
  }
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
