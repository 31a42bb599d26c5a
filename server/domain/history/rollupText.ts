import { type FaultKind, faultKinds } from "../faults.ts";
import type { Instant } from "../instant.ts";
import {
  countNames,
  emptyRollup,
  type LevelRollup,
  type Measure,
  measureNames,
  type Rollup,
  type RollupCounts,
} from "./rollup.ts";

/**
 * A roll-up as octets, one for each character: about 50 for a quarter of an hour. First which numbers follow, a bit for each, then those
 * numbers, then the alarms in ASCII with "," between. Numbers that lie close together are written as differences. They have seven bits in
 * each octet, the lowest first, and their sign in the lowest bit (signed LEB128 as in DWARF 5, 7.6, with the sign moved). The same roll-up
 * always gives the same octets. An empty one has none.
 */
export function encodeRollup({ counts, decigramsGiven, level, measures, standingAlarms }: Rollup): string {
  const octets: number[] = [];
  let [present, bit] = [0, 1];
  const writeIf = (isPresent: boolean, numbers: () => readonly number[]) => {
    if (isPresent) {
      present += bit;
      for (const number of numbers()) writeNumber(octets, number);
    }
    bit *= 2;
  };
  for (const name of countNames) writeIf(counts[name] !== 0, () => [counts[name]]);
  writeIf(decigramsGiven === null, () => []);
  writeIf(decigramsGiven !== null && decigramsGiven !== 0, () => [decigramsGiven ?? 0]);
  writeIf(level !== null, () => levelNumbers(level as LevelRollup));
  for (const name of measureNames) {
    writeIf(measures[name] !== null, () => measureNumbers(measures[name] as Measure, counts.reports));
  }
  if (present === 0 && standingAlarms.length === 0) return "";
  const first: number[] = [];
  writeNumber(first, present);
  return String.fromCharCode(...first, ...octets) + standingAlarms.join(",");
}

const levelNumbers = ({ at, last, low, high, least, most }: LevelRollup): readonly number[] => [
  at,
  last,
  last - low,
  high - last,
  last - least,
  most - last,
];

/** As a rule each report has each reading, so the count is the difference to the reports. */
const measureNumbers = ({ count, sum, least, most }: Measure, reports: number): readonly number[] => [
  count - reports,
  least,
  most - least,
  sum - least * count,
];

function writeNumber(octets: number[], number: number): void {
  let rest = number < 0 ? -2 * number - 1 : 2 * number;
  for (; rest >= 128; rest = Math.floor(rest / 128)) octets.push(128 + (rest % 128));
  octets.push(rest);
}

/**
 * The inverse of `encodeRollup`. A kind of fault that this version doesn't know is left out. It reads thousands of rows for one
 * chart, so it goes through the octets once.
 * @throws RangeError where they are none of `encodeRollup`.
 */
export function decodeRollup(text: string): Rollup {
  if (text === "") return emptyRollup;
  const reader: Reader = { text, index: 0, present: 0 };
  reader.present = readNumber(reader);
  if (reader.present < 0 || reader.present >= 2 ** (countNames.length + 3 + measureNames.length)) throw malformed(text);
  const counts = readCounts(reader);
  return {
    counts,
    decigramsGiven: readGrams(reader),
    level: isNext(reader) ? readLevel(reader) : null,
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
  present: number; // the lowest bit says whether the next one is there
}

function isNext(reader: Reader): boolean {
  const isThere = (reader.present & 1) === 1;
  reader.present >>= 1;
  return isThere;
}

/** Written out, in the order of `countNames`: a loop over names takes twice as long. */
const readCounts = (reader: Reader): RollupCounts => ({
  reports: readUnlessZero(reader),
  reportedTime: readUnlessZero(reader),
  pausedTime: readUnlessZero(reader),
  visits: readUnlessZero(reader),
  presses: readUnlessZero(reader),
  deposits: readUnlessZero(reader),
  depositsPaid: readUnlessZero(reader),
  depositsUnpaid: readUnlessZero(reader),
  timerPortions: readUnlessZero(reader),
  pressPortions: readUnlessZero(reader),
  depositPortions: readUnlessZero(reader),
  keeperPortions: readUnlessZero(reader),
  alarmsRaised: readUnlessZero(reader),
});

function readUnlessZero(reader: Reader): number {
  if (!isNext(reader)) return 0;
  const number = readNumber(reader);
  if (number === 0) throw malformed(reader.text);
  return number;
}

function readGrams(reader: Reader): number | null {
  const isUnknown = isNext(reader);
  const mass = readUnlessZero(reader);
  if (isUnknown && mass !== 0) throw malformed(reader.text);
  return isUnknown ? null : mass;
}

function readLevel(reader: Reader): LevelRollup {
  const at = readNumber(reader) as Instant;
  const last = readNumber(reader);
  const low = last - readNumber(reader);
  const high = last + readNumber(reader);
  const least = last - readNumber(reader);
  return { at, last, low, high, least, most: last + readNumber(reader) };
}

function readMeasure(reader: Reader, reports: number): Measure | null {
  if (!isNext(reader)) return null;
  const count = reports + readNumber(reader);
  const least = readNumber(reader);
  const most = least + readNumber(reader);
  return { count, sum: least * count + readNumber(reader), least, most };
}

function readKinds({ text, index }: Reader): readonly FaultKind[] {
  if (index >= text.length) return [];
  const names = text.slice(index);
  if (!/^[A-Za-z]+(,[A-Za-z]+)*$/.test(names)) throw malformed(text);
  return names.split(",").filter(isFaultKind);
}

const isFaultKind = (name: string): name is FaultKind => knownKinds.has(name);
const knownKinds: ReadonlySet<string> = new Set(faultKinds);

function readNumber(reader: Reader): number {
  const { text } = reader;
  let [written, factor] = [0, 1];
  for (;;) {
    const octet = reader.index < text.length ? text.charCodeAt(reader.index) : 256;
    if (octet > 255 || (octet === 0 && factor > 1)) throw malformed(text);
    reader.index += 1;
    written += (octet & 127) * factor;
    if (octet < 128) break;
    factor *= 128;
  }
  if (written > Number.MAX_SAFE_INTEGER) throw malformed(text);
  return written % 2 === 0 ? written / 2 : -(written + 1) / 2;
}

const malformed = (text: string): RangeError =>
  new RangeError(`expected a roll-up as octets, got ${JSON.stringify(text)}`);
