import { type Limits, student975 } from "../intervals.ts";
import { effectiveTrials } from "./changeEffect.ts";
import { fitRegression, predictLinear, type Regression, type RegressionRow } from "./regression.ts";

/**
 * The share of bouts with an act by the distance of the button or the caps to the dish, as a logistic curve. That response falls with distance,
 * and belief with it, is an observation of the trade (common practice, no source); the curve is fitted to this site's own days.
 */
export interface DistanceCurve {
  readonly points: readonly { readonly distanceCm: number; readonly share: number; readonly limits: Limits }[];
  /** At which half of the bouts hold an act; null where the curve doesn't fall, or only far outside of what was tried. */
  readonly halfAtCm: number | null;
}

export interface DistanceDay {
  readonly distanceCm: number;
  readonly successes: number;
  readonly trials: number;
}

/** With fewer distances a curve is a line through two points, and its interval says nothing. */
const distancesMin = 3;

/** @returns null where too few distances were tried */
export function distanceCurve(days: readonly DistanceDay[]): DistanceCurve | null {
  const judged = days.filter(({ trials }) => trials > 0);
  const distances = [...new Set(judged.map(({ distanceCm }) => distanceCm))].sort((a, b) => a - b);
  if (distances.length < distancesMin) return null;
  const rows = distances.map((distanceCm) => rowOf(judged.filter((day) => day.distanceCm === distanceCm)));
  const fitted = fitRegression("shares", rows);
  if (fitted === null) return null;
  const [least, most] = [distances[0] as number, distances.at(-1) as number];
  return { points: pointsOf(fitted, least, most), halfAtCm: halfAt(fitted, most) };
}

/**
 * One row for each distance: the days at one distance are alike, since learning and the season go on meanwhile, and no straight line need fit. So
 * what the distances leave unexplained widens the curve's interval, not what their days do (aggregated binomial rows, McCullagh & Nelder 1989, 4.5).
 */
function rowOf(days: readonly DistanceDay[]): RegressionRow {
  const { share, trials } = effectiveTrials(days) as NonNullable<ReturnType<typeof effectiveTrials>>;
  return { x: [1, (days[0] as DistanceDay).distanceCm / 100], y: share * trials, size: trials };
}

const pointsDrawn = 13;

const pointsOf = (fitted: Regression, least: number, most: number): DistanceCurve["points"] =>
  Array.from({ length: pointsDrawn }, (_, index) => {
    const distanceCm = least + ((most - least) * index) / (pointsDrawn - 1);
    const { value, variance } = predictLinear(fitted, [1, distanceCm / 100]);
    const reach = student975(fitted.freedom) * Math.sqrt(variance);
    return {
      distanceCm: Math.round(distanceCm),
      share: logistic(value),
      limits: { low: logistic(value - reach), high: logistic(value + reach) },
    };
  });

const logistic = (linear: number): number => 1 / (1 + Math.exp(-linear));

function halfAt({ coefficients: [start = 0, slope = 0] }: Regression, most: number): number | null {
  if (slope >= 0) return null;
  const half = (-100 * start) / slope;
  return half <= 0 || half > 2 * most ? null : Math.round(half);
}
