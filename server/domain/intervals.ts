/** Limits of what a few observations may still mean: shares, rates and means, each with its source. */

export interface Limits {
  readonly low: number;
  readonly high: number;
}

/** The value that a standard normal exceeds with a probability of 2.5 %. */
export const normal975 = 1.959964;

/** Limits of a share by Wilson 1927, J. Am. Stat. Assoc. 22:209, 95 %. 0 to 1 where nothing was seen. */
export function shareLimits(hits: number, of: number): Limits {
  if (of === 0) return { low: 0, high: 1 };
  const z = normal975;
  const share = hits / of;
  const middle = (share + (z * z) / (2 * of)) / (1 + (z * z) / of);
  const reach = (z / (1 + (z * z) / of)) * Math.sqrt((share * (1 - share)) / of + (z * z) / (4 * of * of));
  return { low: Math.max(0, middle - reach), high: Math.min(1, middle + reach) };
}

/**
 * The highest share that fits with none in so many, 95 % on one side: 3/n (Hanley & Lippman-Hand 1983, J. Am. Med. Assoc. 249:1743).
 * It is a little above the exact limit.
 */
export const ruleOfThree = (of: number): number => (of === 0 ? 1 : Math.min(1, 3 / of));

/** The highest share that is plausible: by the rule of three where none was seen, by Wilson's limit otherwise. */
export const shareAtMost = (hits: number, of: number): number =>
  hits === 0 ? ruleOfThree(of) : shareLimits(hits, of).high;

/**
 * Exact limits of a Poisson mean of which `count` was seen (Garwood 1936): the means under which so many or more, and so many or
 * fewer, have the probability (1 - sure) / 2. Solved by bisection, since that is the definition.
 */
export function poissonLimits(count: number, sure = 0.95): Limits {
  const tail = (1 - sure) / 2;
  const most = count + 10 * Math.sqrt(count + 1) + 20;
  const low = count === 0 ? 0 : bisect((mean) => 1 - poissonAtMost(count - 1, mean) - tail, 0, most);
  const high = bisect((mean) => tail - poissonAtMost(count, mean), 0, most);
  return { low, high };
}

/**
 * Summed from the likeliest count outwards, each term as a share of that one: from zero upwards it would begin at exp(-mean),
 * which is 0 for a thousand.
 */
export function poissonAtMost(count: number, mean: number): number {
  if (mean <= 0) return 1;
  const likeliest = Math.min(count, Math.floor(mean));
  let logTerm = -mean;
  for (let k = 1; k <= likeliest; k += 1) logTerm += Math.log(mean / k);
  let sum = 1;
  for (let k = likeliest, share = 1; k > 0 && share > 1e-18; k -= 1) {
    share *= k / mean;
    sum += share;
  }
  for (let k = likeliest + 1, share = 1; k <= count && share > 1e-18; k += 1) {
    share *= mean / k;
    sum += share;
  }
  return Math.min(1, Math.exp(logTerm + Math.log(sum)));
}

/** The value that Student's t exceeds with a probability of 2.5 %. @param freedom whole degrees of freedom, at least 1 */
export const student975 = (freedom: number): number => bisect((t) => studentBetween(t, freedom) - 0.95, 0, 13);

/** The probability of −t to t: the finite sums of Abramowitz & Stegun 26.7.3 and 26.7.4. */
function studentBetween(t: number, freedom: number): number {
  const angle = Math.atan(t / Math.sqrt(freedom));
  const [sine, cosine] = [Math.sin(angle), Math.cos(angle)];
  const isOdd = freedom % 2 === 1;
  let term = isOdd ? cosine : 1;
  let sum = freedom === 1 ? 0 : term;
  for (let k = isOdd ? 3 : 2; k < freedom; k += 2) {
    term *= ((k - 1) / k) * cosine * cosine;
    sum += term;
  }
  return isOdd ? (2 / Math.PI) * (angle + sine * sum) : sine * sum;
}

/**
 * Mean and standard deviation of what each of several intervals gave, where an interval may hold several portions (the variance of
 * a sum grows with its number): drops d over m portions each. The mean's limits are Student's, 95 %.
 * @returns null for fewer than two intervals
 */
export function meanLimits(
  drops: readonly { readonly sum: number; readonly count: number }[],
): { readonly mean: number; readonly deviation: number; readonly limits: Limits } | null {
  if (drops.length < 2) return null;
  const count = drops.reduce((all, drop) => all + drop.count, 0);
  const mean = drops.reduce((all, { sum }) => all + sum, 0) / count;
  const squares = drops.reduce((all, drop) => all + (drop.sum - drop.count * mean) ** 2 / drop.count, 0);
  const deviation = Math.sqrt(squares / (drops.length - 1));
  const reach = (student975(drops.length - 1) * deviation) / Math.sqrt(count);
  return { mean, deviation, limits: { low: mean - reach, high: mean + reach } };
}

/** The value below which `share` of them lie, between two of them in proportion (Hyndman & Fan 1996, type 7); NaN of none. */
export function quantile(values: readonly number[], share: number): number {
  if (values.length === 0) return Number.NaN;
  const sorted = [...values].sort((a, b) => a - b);
  const place = share * (sorted.length - 1);
  const [below, above] = [sorted[Math.floor(place)] ?? Number.NaN, sorted[Math.ceil(place)] ?? Number.NaN];
  return below + (above - below) * (place - Math.floor(place));
}

/** Where a rising function is zero between two values. */
export function bisect(rising: (x: number) => number, from: number, to: number): number {
  let [low, high] = [from, to];
  for (let step = 0; step < 200 && high - low > 1e-12 * Math.max(1, high); step += 1) {
    const middle = (low + high) / 2;
    if (rising(middle) < 0) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
