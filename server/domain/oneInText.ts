/** A small chance as people say it: "1 in 20", "1 in 4,000", "less than 1 in a million". Nobody reads an exponent. */
export function oneInText(probability: number): string {
  if (!(probability >= 1e-6)) return "less than 1 in a million";
  const times = 1 / probability;
  const step = 10 ** Math.max(0, Math.floor(Math.log10(times)));
  return `1 in ${thousands(Math.round(times / step) * step)}`;
}

const thousands = (count: number): string => String(count).replace(/\B(?=(\d{3})+$)/g, ",");
