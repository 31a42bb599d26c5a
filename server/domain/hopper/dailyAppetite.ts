/**
 * How much these birds eat a day, from day to day. Three things move it: how large the flock is (`base`), whether it grows
 * (`trend`, which dies away and is taken for none until days have shown it), and the day's own mood, which is half forgotten
 * from one day to the next. All in natural logarithms, since a flock twice as large scatters twice as much. A Kalman filter
 * over whole days: small data, large doubt.
 */
export interface DailyAppetite {
  readonly base: number; // ln of grams in a day of eight hours of light
  readonly trend: number; // of base, a day
  readonly dayEffect: number; // ln, today's
  /** Symmetric covariance of (base, trend, mood): its lower triangle row by row. */
  readonly covariance: readonly [number, number, number, number, number, number];
  readonly dayEffectVariance: number; // of moods over many days, learnt
  readonly overdispersion: number; // portions that come together: a day's count scatters by so much more than single ones would; learnt
  readonly usualPortions: number; // that these birds take in a day, as usual
  readonly daysLearnt: number; // that taught it, at most `daysCounted`
}

/** A mood is half gone after a day; a spell of weather lasts two or three. Common practice, no source. */
const dayEffectKept = 0.55;
/** Days scatter by a third, storms with them, until these birds' own have been seen. Common practice, no source. */
const dayEffectVarianceFirst = 0.12;
/** Birds come in company, several portions at once. Common practice, no source. */
const overdispersionFirst = 5;
const overdispersionMin = 1;
const overdispersionMax = 15;
const dayEffectVarianceMin = 0.01;
const dayEffectVarianceMax = 0.3;
/** A flock grows or shrinks by three parts in a hundred a day, this way or that. Common practice, no source. */
const baseWander = 0.03 ** 2;
/** So large a trend is usual, and after five weeks half of it is over. */
const trendVarianceFirst = 0.014 ** 2;
const trendKept = 0.98;
const daysLearntMax = 60;
/** What is farther off than this many standard deviations is a storm, or a cat: it counts as if it were just there. */
const surpriseMax = 3;

/** From the first day, which is one mood among many. `seen`: how much of it. */
export const initialDailyAppetite = (eaten: number, seen: ObservedDay): DailyAppetite => ({
  base: Math.log(eaten),
  trend: 0,
  dayEffect: 0,
  covariance: [
    dayEffectVarianceFirst + noiseVariance(overdispersionFirst, seen, 0),
    0,
    trendVarianceFirst,
    -dayEffectVarianceFirst,
    0,
    dayEffectVarianceFirst,
  ],
  dayEffectVariance: dayEffectVarianceFirst,
  overdispersion: overdispersionFirst,
  usualPortions: seen.portions / seen.observedShare,
  daysLearnt: 1,
});

/** How much was seen of a day: portions, and the share of a usual day's meal in whose time they were given. */
export interface ObservedDay {
  readonly portions: number;
  readonly observedShare: number;
}

/** Variance of ln(eaten) by chance alone, and by what the rest of the day was like. */
const noiseVariance = (bout: number, { portions, observedShare }: ObservedDay, usual: number): number =>
  bout / Math.max(portions, usual * observedShare, 2) + 0.3 * (1 - Math.min(1, observedShare)) ** 2;

/** Today's word: eaten at this rate so far, in grams for a day of eight hours of light. */
export function updateByToday(daily: DailyAppetite, eaten: number, seen: ObservedDay): DailyAppetite {
  const [bb, bt, tt, bm, tm, mm] = daily.covariance;
  const expected = daily.base + daily.dayEffect;
  const total = bb + 2 * bm + mm + noiseVariance(daily.overdispersion, seen, daily.usualPortions);
  const root = Math.sqrt(total);
  // Half a tenth is added on both sides, so that a day without a bird is bad, but not infinitely so.
  const floor = 0.05 * Math.exp(expected);
  const off = Math.log((Math.max(eaten, 0) + floor) / (1.05 * Math.exp(expected)));
  const believed = Math.min(Math.max(off, -surpriseMax * root), surpriseMax * root);
  const [b, t, m] = [bb + bm, bt + tm, bm + mm];
  const step = believed / total;
  return {
    base: daily.base + b * step,
    trend: daily.trend + t * step,
    dayEffect: daily.dayEffect + m * step,
    covariance: [
      bb - (b * b) / total,
      bt - (b * t) / total,
      tt - (t * t) / total,
      bm - (b * m) / total,
      tm - (t * m) / total,
      mm - (m * m) / total,
    ],
    dayEffectVariance: daily.dayEffectVariance,
    overdispersion: daily.overdispersion,
    usualPortions: daily.usualPortions,
    daysLearnt: daily.daysLearnt,
  };
}

/** A whole day has been heard of. */
export function updateByDay(daily: DailyAppetite, eaten: number, seen: ObservedDay): DailyAppetite {
  const [bb, , , bm, , mm] = daily.covariance;
  const noise = noiseVariance(daily.overdispersion, seen, daily.usualPortions);
  const total = bb + 2 * bm + mm + noise;
  const floor = 0.05 * Math.exp(daily.base + daily.dayEffect);
  const off = Math.log((Math.max(eaten, 0) + floor) / (1.05 * Math.exp(daily.base + daily.dayEffect)));
  // All that scatters scatters more, or less, than thought, by one factor (West & Harrison, Bayesian Forecasting and Dynamic
  // Models 1997, ch. 4.5, from memory); the first days count for as much as what was assumed.
  const surprise = (Math.min((off * off) / total, 6) - 1) / (0.5 * daily.daysLearnt + 5);
  const factor = Math.max(1 + surprise, 0.5);
  const heard = updateByToday(daily, eaten, seen);
  const [b, bt, tt, m, tm, own] = heard.covariance;
  const root = Math.sqrt(factor);
  return {
    ...heard,
    covariance: [factor * b, root * bt, tt, factor * m, root * tm, factor * own],
    dayEffectVariance: Math.min(Math.max(factor * daily.dayEffectVariance, dayEffectVarianceMin), dayEffectVarianceMax),
    overdispersion: Math.min(Math.max(factor * daily.overdispersion, overdispersionMin), overdispersionMax),
    usualPortions:
      daily.usualPortions +
      (seen.portions / seen.observedShare - daily.usualPortions) / Math.min(daily.daysLearnt + 1, 5),
    daysLearnt: Math.min(daily.daysLearnt + 1, daysLearntMax),
  };
}

/** The next day begins. */
export function startNextDay({
  base,
  trend,
  dayEffect,
  covariance,
  dayEffectVariance,
  overdispersion,
  usualPortions,
  daysLearnt,
}: DailyAppetite): DailyAppetite {
  const [bb, bt, tt, bm, tm, mm] = covariance;
  return {
    base: base + trend,
    trend: trendKept * trend,
    dayEffect: dayEffectKept * dayEffect,
    covariance: [
      bb + 2 * bt + tt + baseWander,
      trendKept * (bt + tt),
      trendKept * trendKept * tt + (1 - trendKept * trendKept) * trendVarianceFirst,
      dayEffectKept * (bm + tm),
      trendKept * dayEffectKept * tm,
      dayEffectKept * dayEffectKept * mm + (1 - dayEffectKept * dayEffectKept) * dayEffectVariance,
    ],
    dayEffectVariance,
    overdispersion,
    usualPortions,
    daysLearnt,
  };
}

/** What a day so many days from today is eaten like, against today's base. */
export const logRateAhead = ({ base, trend, dayEffect }: DailyAppetite, ahead: number): number =>
  base + trend * trendDays(ahead) + dayEffect * dayEffectKept ** ahead;

const trendDays = (ahead: number): number => (1 - trendKept ** ahead) / (1 - trendKept);

/**
 * Variance of what is eaten in so many days from now, as a share of it squared: what isn't known of flock, trend and mood, and
 * what moods are still to come.
 */
export function eatenRelativeVariance({ covariance, dayEffectVariance }: DailyAppetite, ahead: number): number {
  const [bb, bt, tt, bm, tm, mm] = covariance;
  const later = Math.max(0, ahead - 0.5); // beyond today
  const moodMean = ahead <= 1 ? 1 : (1 - dayEffectKept ** ahead) / (ahead * (1 - dayEffectKept));
  const trendMean = Math.min(later, 20) / 2;
  const known =
    bb +
    trendMean * trendMean * tt +
    moodMean * moodMean * mm +
    2 * (trendMean * bt + moodMean * bm + trendMean * moodMean * tm);
  const moods =
    later -
    (2 * dayEffectKept * (1 - dayEffectKept ** later)) / (1 - dayEffectKept) +
    (dayEffectKept ** 2 * (1 - dayEffectKept ** (2 * later))) / (1 - dayEffectKept ** 2);
  const toCome =
    (dayEffectVariance * (1 - dayEffectKept ** 2) * Math.max(0, moods)) / ((1 - dayEffectKept) ** 2 * ahead * ahead);
  return known + toCome + (baseWander * later) / 3;
}
