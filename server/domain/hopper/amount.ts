/** Grams as a keeper would say them: two figures are all that such a level is good for. "840 g", "1.2 kg", "6 g". */
export function roundedGrams(mass: number): string {
  if (mass >= 1_000) return `${(Math.round(mass / 100) / 10).toString()} kg`;
  const step = mass >= 100 ? 10 : mass >= 20 ? 5 : 1;
  return `${Math.round(mass / step) * step} g`;
}
