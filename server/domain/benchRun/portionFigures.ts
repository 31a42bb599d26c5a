import { numberText, percentText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import { meanLimits } from "../intervals.ts";
import type { BenchRun } from "./benchRun.ts";
import { type BenchFigure, benchLimits, figure, shareFigure } from "./figure.ts";
import type { BenchPortion } from "./tally.ts";

/** What the motor, the chute sensor, the load cell and the keeper's scale say of the portions. */
export function portionFigures(run: BenchRun): readonly BenchFigure[] {
  return [motorRunsFigure(run), portionFigure(run), spreadFigure(run), emptyFigure(run), heldFigure(run)];
}

/** Grams a portion as this run shows it, to be confirmed by the keeper; null where it doesn't. */
export function benchPortionGrams(run: BenchRun): number | null {
  const mean = totalMean(run) ?? cellMean(run)?.mean ?? null;
  return mean === null ? null : Math.round(100 * mean) / 100;
}

function motorRunsFigure({ plan, tally, answer }: BenchRun): BenchFigure {
  const text = texts.benchRun;
  if (plan.portions === 0) return figure("motorRuns", "notKnown", text.runsLeftOut, { reason: text.runsLeftOut });
  const whole = wholePortions(tally.portions).length;
  const value = text.runsGiven(whole, plan.portions);
  const cut = tally.portions.length - whole;
  const cutText = cut === 0 ? [] : [text.runsCutShort(cut)];
  if (answer?.outcome === "refused") {
    const reason = answer.problem === null ? text.runsRefusedSilently : text.runsRefused(answer.problem);
    return figure("motorRuns", "notMet", value, { reason: [reason, ...cutText].join(" ") });
  }
  if (cut > 0) return figure("motorRuns", "notMet", value, { reason: cutText.join(" ") });
  if (answer === null) return figure("motorRuns", "notKnown", value, { reason: text.runsUnanswered });
  return whole < plan.portions
    ? figure("motorRuns", "notKnown", value, { reason: text.runsMissing })
    : figure("motorRuns", "met", value);
}

const wholePortions = (portions: readonly BenchPortion[]) => portions.filter(({ cutShort }) => !cutShort);

// --- grams --------------------------------------------------------------------------------------------------------------

/** What left the hopper between two weighings with portions between them. */
const drops = ({ tally }: BenchRun) =>
  tally.weights.slice(1).flatMap((weight, index) => {
    const before = tally.weights[index];
    if (before === undefined) return [];
    return [{ sum: before.grams - weight.grams, count: weight.portions - before.portions, until: weight.portions }];
  });

const cellMean = (run: BenchRun) => {
  const result = meanLimits(drops(run));
  return result === null || result.limits.low <= 0 ? null : result;
};

function totalMean({ weighed, tally }: BenchRun): number | null {
  const count = wholePortions(tally.portions).length;
  return weighed?.total == null || weighed.total <= 0 || count === 0 ? null : weighed.total / count;
}

const gramsText = (mass: number) => numberText(mass, 2);

function portionFigure(run: BenchRun): BenchFigure {
  const text = texts.benchRun;
  const total = totalMean(run);
  const cell = cellMean(run);
  const cellText =
    cell === null ? null : text.portion(gramsText(cell.mean), gramsText(cell.limits.low), gramsText(cell.limits.high));
  if (total !== null) {
    const count = wholePortions(run.tally.portions).length;
    const value =
      cellText === null ? text.portionByTotal(gramsText(total), count) : text.portionByBoth(gramsText(total), cellText);
    return figure("portion", "met", value);
  }
  if (cellText !== null) return figure("portion", "met", cellText);
  const reason = drops(run).length > 1 ? text.portionHidden : text.portionUnknown;
  return figure("portion", "notKnown", text.noneTried, { reason });
}

/** The standard deviation of the load cell at rest; null where too few weights were taken. */
function cellNoise({ tally }: BenchRun): number | null {
  const { count, squares } = tally.restWeights;
  return count < restWeightsNeeded ? null : Math.sqrt(squares / (count - 1));
}

const restWeightsNeeded = 5;
/** Of the variance seen: where the load cell's own part is larger, the rest can't be told. Our choice. */
const noiseShareMax = 0.5;

function spreadFigure(run: BenchRun): BenchFigure {
  const text = texts.benchRun;
  const limit = text.spreadLimit(percentText(benchLimits.spread));
  const cell = meanLimits(drops(run));
  const noise = cellNoise(run);
  if (cell === null || cell.mean <= 0 || noise === null) return figure("spread", "noted", text.spreadUnknown);
  // Each difference has the noise of two weighings.
  const variance = cell.deviation ** 2;
  if (2 * noise ** 2 > noiseShareMax * variance && cell.deviation > benchLimits.spread * cell.mean)
    return figure("spread", "noted", text.spreadHidden(gramsText(noise)));
  const deviation = Math.sqrt(Math.max(0, variance - 2 * noise ** 2));
  const share = deviation / cell.mean;
  const value = text.spread(gramsText(deviation), percentText(share));
  return share > benchLimits.spread
    ? figure("spread", "notMet", value, { limit, reason: text.spreadTooWide })
    : figure("spread", "met", value, { limit });
}

// --- empty portions, and a motor that is held -----------------------------------------------------------------------------

function emptyFigure(run: BenchRun): BenchFigure {
  const text = texts.benchRun;
  const portions = wholePortions(run.tally.portions);
  const { empty, known } = emptyPortions(run);
  const seen = run.weighed?.empty ?? null;
  if (known === 0 && seen === null) return figure("empty", "notKnown", text.noneTried, { reason: text.emptyUnknown });
  // What the keeper saw counts for all portions; a sensor that saw more empty ones may be right.
  const judged =
    seen !== null && seen >= empty
      ? shareFigure("empty", Math.min(seen, portions.length), portions.length, benchLimits.faultyPortions)
      : shareFigure("empty", empty, known, benchLimits.faultyPortions);
  const isContradicted = known > 0 && empty > known / 2 && benchPortionGrams(run) !== null;
  return judged.status === "notMet" && isContradicted
    ? { ...judged, reason: `${judged.reason} ${text.chuteBlind}` }
    : judged;
}

/** By the chute sensor; without one, by a load cell that is quiet enough to see a single portion missing. */
function emptyPortions(run: BenchRun): { readonly empty: number; readonly known: number } {
  const byDrop = emptyByDrop(run);
  let [empty, known] = [0, 0];
  run.tally.portions.forEach(({ chuteCount, cutShort }, index) => {
    if (cutShort) return;
    const isEmpty = chuteCount === null ? (byDrop.get(index + 1) ?? null) : chuteCount === 0;
    if (isEmpty === null) return;
    known += 1;
    if (isEmpty) empty += 1;
  });
  return { empty, known };
}

const emptyBelow = 0.25; // of a mean portion; our choice

function emptyByDrop(run: BenchRun): ReadonlyMap<number, boolean> {
  const cell = cellMean(run);
  const noise = cellNoise(run);
  // Two weighings differ by more than three deviations once in hundreds of portions.
  if (cell === null || noise === null || 3 * Math.SQRT2 * noise > emptyBelow * cell.mean) return new Map();
  return new Map(
    drops(run).flatMap(({ sum, count, until }) =>
      count === 1 ? [[until, sum < emptyBelow * cell.mean] as const] : [],
    ),
  );
}

/** A stalled motor is switched off early; all others run equally long. Our choice. */
const heldBelow = 0.9;

function heldFigure({ tally }: BenchRun): BenchFigure {
  const ran = wholePortions(tally.portions).flatMap(({ motorRan }) => (motorRan === null ? [] : [motorRan]));
  if (ran.length === 0)
    return figure("held", "notKnown", texts.benchRun.noneTried, { reason: texts.benchRun.heldUnknown });
  const longest = Math.max(...ran);
  const held = ran.filter((span) => span < heldBelow * longest).length;
  return shareFigure("held", held, ran.length, benchLimits.faultyPortions);
}
