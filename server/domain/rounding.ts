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

/** All numbers in a value of plain JSON. What is the same object as in `before` is rounded already, and stays the same object. */
export function roundNumbers<Value>(value: Value, before: unknown, digits: Digits = 7): Value {
  if (typeof value === "number") return roundNumber(value, digits) as Value;
  if (value === before || typeof value !== "object" || value === null) return value;
  const known = (typeof before === "object" && before !== null ? before : {}) as { readonly [name: string]: unknown };
  if (Array.isArray(value)) return value.map((entry, index) => roundNumbers(entry, known[index], digits)) as Value;
  const rounded: { [name: string]: unknown } = {};
  for (const [name, entry] of Object.entries(value)) rounded[name] = roundNumbers(entry, known[name], digits);
  return rounded as Value;
}
