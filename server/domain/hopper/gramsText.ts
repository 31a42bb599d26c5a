/** Grams for the keeper: two figures are all that such a level is good for. "840 g", "1.2 kg", "6 g". */
export function gramsText(mass: number): string {
  if (mass >= 1_000) return `${(Math.round(mass / 100) / 10).toString()} kg`;
  const step = mass >= 100 ? 10 : mass >= 20 ? 5 : 1;
  return `${Math.round(mass / step) * step} g`;
}

/**
 * An interval for the keeper, never narrower than it is: rounded outwards.
 * "1.98 kg to 2.02 kg", "110 g to 560 g".
 */
export function gramsRangeText(low: number, high: number): string {
  const step = high >= 10_000 ? 100 : high >= 100 ? 10 : 1;
  return `${exactGrams(Math.floor(low / step) * step)} to ${exactGrams(Math.ceil(high / step) * step)}`;
}

const exactGrams = (mass: number): string => (mass >= 1_000 ? `${(mass / 1_000).toString()} kg` : `${mass} g`);
