/**
 * Statistics are rounded once a step: their further digits are far below what any judgement can tell apart, and would be half of a
 * stored state. It is part of the step, so that a state in memory, one read from JSON and a replayed one stay the same.
 * A fixed number of significant digits, so that small variances keep theirs.
 */
export function roundNumber(value: number, digits: Digits): number {
  if (Number.isInteger(value)) return value;
  const exponent = Math.floor(Math.log10(Math.abs(value)));
  const power = digits - 1 - exponent;
  if (power >= powersOfTen.length) return value; // next to nothing, but not nothing
  const scale = powersOfTen[Math.max(0, power)] ?? 1;
  return Math.round(value * scale) / scale;
}

/** Seven digits for what is learnt; nine for filters, whose variances change by a millionth with a reading. */
export type Digits = 7 | 9;

/** Exact as doubles: a product and a quotient by one of them are rounded once each. */
const powersOfTen = Array.from({ length: 23 }, (_, power) => Number(`1e${power}`));

/**
 * All numbers in a value of plain JSON. What is the same object as in `before` is rounded already, and stays the same object; so
 * does what has nothing to round. A copy is made by a spread, which keeps an object's layout, and so what reads it fast.
 */
export function roundNumbers<Value>(value: Value, before: unknown, digits: Digits = 7): Value {
  if (typeof value === "number") return roundNumber(value, digits) as Value;
  if (value === before || typeof value !== "object" || value === null) return value;
  return (Array.isArray(value) ? roundList(value, before, digits) : roundRecord(value, before, digits)) as Value;
}

function roundList(list: readonly unknown[], before: unknown, digits: Digits): readonly unknown[] {
  const known = Array.isArray(before) ? before : [];
  let rounded: unknown[] | null = null;
  for (let index = 0; index < list.length; index += 1) {
    const entry = roundNumbers(list[index], known[index], digits);
    if (entry === list[index]) continue;
    rounded ??= list.slice();
    rounded[index] = entry;
  }
  return rounded ?? list;
}

type Fields = { [name: string]: unknown };

function roundRecord(record: object, before: unknown, digits: Digits): object {
  const fields = record as Fields;
  const known = (typeof before === "object" && before !== null ? before : none) as Fields;
  let rounded: Fields | null = null;
  for (const name of Object.keys(record)) {
    const entry = roundNumbers(fields[name], known[name], digits);
    if (entry === fields[name]) continue;
    rounded ??= { ...fields };
    rounded[name] = entry;
  }
  return rounded ?? record;
}

const none: Fields = {};
