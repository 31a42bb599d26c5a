/**
 * How much these birds eat a day, from day to day. Three things move it: how large the flock is (`base`), whether it grows
 * (`trend`, which fades and starts at zero), and the day's own effect, half of which is gone the next day. All in natural
 * logarithms, since a flock twice as large scatters twice as much. A Kalman filter over whole days: small data, large
 * uncertainty.
 */
export interface DailyAppetite {
  readonly base: number; // ln of grams in a day of eight hours of light
  readonly trend: number; // of base, a day
  readonly dayEffect: number; // ln, today's
  /** Symmetric covariance of (base, trend, dayEffect): its lower triangle row by row. */
  readonly covariance: readonly [number, number, number, number, number, number];
  readonly dayEffectVariance: number; // of the day effects over many days, learnt
  readonly overdispersion: number; // portions that come together: a day's count scatters by so much more than single ones would; learnt
  readonly usualPortions: number; // that these birds take in a day, as usual
  readonly daysLearnt: number; // at most `daysLearntMax`
}

/** A day's effect is half gone after a day; a spell of weather lasts two or three. Common practice, no source. */
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
const baseDriftVariance = 0.03 ** 2;
/** So large a trend is usual, and after five weeks half of it is over. */
const trendVarianceFirst = 0.014 ** 2;
const trendKept = 0.98;
const daysLearntMax = 60;
/** A residual of more standard deviations is a storm or a cat: it counts as this many. */
const surpriseMax = 3;

/** From the first day, with an unknown effect of its own. `observed`: how much of it. */
export const initialDailyAppetite = (eaten: number, observed: ObservedDay): DailyAppetite => ({
  base: Math.log(eaten),
  trend: 0,
  dayEffect: 0,
  covariance: [
    dayEffectVarianceFirst + noiseVariance(overdispersionFirst, observed, 0),
    0,
    trendVarianceFirst,
    -dayEffectVarianceFirst,
    0,
    dayEffectVarianceFirst,
  ],
  dayEffectVariance: dayEffectVarianceFirst,
  overdispersion: overdispersionFirst,
  usualPortions: observed.portions / observed.observedShare,
  daysLearnt: 1,
});

/** How much was seen of a day: portions, and the share of a usual day's meal in whose time they were given. */
export interface ObservedDay {
  readonly portions: number;
  readonly observedShare: number;
}

/** Variance of ln(eaten) by chance alone, and by what the rest of the day was like. */
const noiseVariance = (
  overdispersion: number,
  { portions, observedShare }: ObservedDay,
  usualPortions: number,
): number =>
  overdispersion / Math.max(portions, usualPortions * observedShare, 2) + 0.3 * (1 - Math.min(1, observedShare)) ** 2;

/** Corrects by today: eaten at this rate so far, in grams for a day of eight hours of light. */
export function updateByToday(daily: DailyAppetite, eaten: number, observed: ObservedDay): DailyAppetite {
  const [bb, bt, tt, bm, tm, mm] = daily.covariance;
  const expected = daily.base + daily.dayEffect;
  const total = bb + 2 * bm + mm + noiseVariance(daily.overdispersion, observed, daily.usualPortions);
  const root = Math.sqrt(total);
  // Half a tenth is added on both sides, so that a day without a bird is bad, but not infinitely so.
  const smallestGrams = 0.05 * Math.exp(expected);
  const residual = Math.log((Math.max(eaten, 0) + smallestGrams) / (1.05 * Math.exp(expected)));
  const limitedResidual = Math.min(Math.max(residual, -surpriseMax * root), surpriseMax * root);
  const [b, t, m] = [bb + bm, bt + tm, bm + mm];
  const step = limitedResidual / total;
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

/** Corrects by a whole day. */
export function updateByDay(daily: DailyAppetite, eaten: number, observed: ObservedDay): DailyAppetite {
  const [bb, , , bm, , mm] = daily.covariance;
  const noise = noiseVariance(daily.overdispersion, observed, daily.usualPortions);
  const total = bb + 2 * bm + mm + noise;
  const smallestGrams = 0.05 * Math.exp(daily.base + daily.dayEffect);
  const residual = Math.log((Math.max(eaten, 0) + smallestGrams) / (1.05 * Math.exp(daily.base + daily.dayEffect)));
  // All that scatters scatters more, or less, than thought, by one factor (West & Harrison, Bayesian Forecasting and Dynamic
  // Models 1997, ch. 4.5, from memory); the first days count for as much as what was assumed.
  const surprise = (Math.min((residual * residual) / total, 6) - 1) / (0.5 * daily.daysLearnt + 5);
  const factor = Math.max(1 + surprise, 0.5);
  const updated = updateByToday(daily, eaten, observed);
  const [b, bt, tt, m, tm, effectVariance] = updated.covariance;
  const root = Math.sqrt(factor);
  return {
    ...updated,
    covariance: [factor * b, root * bt, tt, factor * m, root * tm, factor * effectVariance],
    dayEffectVariance: Math.min(Math.max(factor * daily.dayEffectVariance, dayEffectVarianceMin), dayEffectVarianceMax),
    overdispersion: Math.min(Math.max(factor * daily.overdispersion, overdispersionMin), overdispersionMax),
    usualPortions:
      daily.usualPortions +
      (observed.portions / observed.observedShare - daily.usualPortions) / Math.min(daily.daysLearnt + 1, 5),
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
      bb + 2 * bt + tt + baseDriftVariance,
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
 * Variance of what is eaten in so many days from now, as a share of it squared: of flock, trend and day effect as known now,
 * and of the effects of the days to come.
 */
export function eatenRelativeVariance({ covariance, dayEffectVariance }: DailyAppetite, ahead: number): number {
  const [bb, bt, tt, bm, tm, mm] = covariance;
  const daysAfterToday = Math.max(0, ahead - 0.5); // beyond today
  const meanEffect = ahead <= 1 ? 1 : (1 - dayEffectKept ** ahead) / (ahead * (1 - dayEffectKept));
  const trendMean = Math.min(daysAfterToday, 20) / 2;
  const knownVariance =
    bb +
    trendMean * trendMean * tt +
    meanEffect * meanEffect * mm +
    2 * (trendMean * bt + meanEffect * bm + trendMean * meanEffect * tm);
  const effectSum =
    daysAfterToday -
    (2 * dayEffectKept * (1 - dayEffectKept ** daysAfterToday)) / (1 - dayEffectKept) +
    (dayEffectKept ** 2 * (1 - dayEffectKept ** (2 * daysAfterToday))) / (1 - dayEffectKept ** 2);
  const futureVariance =
    (dayEffectVariance * (1 - dayEffectKept ** 2) * Math.max(0, effectSum)) /
    ((1 - dayEffectKept) ** 2 * ahead * ahead);
  return knownVariance + futureVariance + (baseDriftVariance * daysAfterToday) / 3;
}
