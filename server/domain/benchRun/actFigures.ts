import { numberText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import { type Instant, inHours, minutes } from "../instant.ts";
import { poissonLimits, quantile } from "../intervals.ts";
import { type BenchRun, type BenchStepKind, stepOf } from "./benchRun.ts";
import { type BenchFigure, benchLimits, type FigureName, figure, shareFigure } from "./figure.ts";

/** Caps and presses: those of the keeper, those of nobody, and the food for them. */
export function actFigures(run: BenchRun, now: Instant): readonly BenchFigure[] {
  const { falseHits, falsePresses } = run.tally;
  return [
    capsFigure(run),
    falseFigure("falseHits", run, run.sensors.detector, falseHits),
    pressesFigure(run),
    falseFigure("falsePresses", run, run.sensors.button, falsePresses),
    payFigure(run, run.ended?.at ?? now),
  ];
}

const notFitted = (name: FigureName) => figure(name, "notFitted", texts.benchRun.notFitted);

/** Whether the keeper has said that the step is done: only then it is known how many hits there should be. */
function isDone(run: BenchRun, kind: BenchStepKind): boolean {
  const step = stepOf(run, kind);
  if (step === null || step.to === null) return false;
  return run.ended === null || run.steps.at(-1) !== step;
}

function capsFigure(run: BenchRun): BenchFigure {
  const { plan, tally, sensors } = run;
  const text = texts.benchRun;
  if (!sensors.detector) return notFitted("caps");
  const found = actsFigure("caps", run, plan.caps, tally.capHits, text.capsTwice(tally.capHits, plan.caps));
  return tally.capsWithoutMetal === 0 || found.status === "met" || !isDone(run, "caps")
    ? found
    : { ...found, reason: [found.reason, text.capsNoMetal(tally.capsWithoutMetal)].filter(Boolean).join(" ") };
}

function pressesFigure(run: BenchRun): BenchFigure {
  const { plan, tally, sensors } = run;
  if (!sensors.button) return notFitted("presses");
  const twice = texts.benchRun.pressesTwice(tally.pressHits, plan.presses);
  return actsFigure("presses", run, plan.presses, tally.pressHits, twice);
}

function actsFigure(
  name: "caps" | "presses",
  run: BenchRun,
  planned: number,
  hits: number,
  twice: string,
): BenchFigure {
  const text = texts.benchRun;
  if (planned === 0) return shareFigure(name, 0, 0, benchLimits.missedActs);
  if (!isDone(run, name)) return figure(name, "notKnown", text.runsGiven(hits, planned), { reason: text.notFinished });
  const judged = shareFigure(name, Math.max(0, planned - hits), planned, benchLimits.missedActs);
  return hits > planned ? { ...judged, status: "notMet", value: text.runsGiven(hits, planned), reason: twice } : judged;
}

/** Limits of the rate by Garwood. */
function falseFigure(name: "falseHits" | "falsePresses", run: BenchRun, isFitted: boolean, count: number): BenchFigure {
  const text = texts.benchRun;
  if (!isFitted) return notFitted(name);
  const { seen, plausible } = benchLimits.falseActs;
  const limit = text.rateLimit(numberText(seen, 1), numberText(plausible, 1));
  const watched = inHours(run.tally.watched);
  if (watched <= 0 && count === 0) return figure(name, "notKnown", text.noneTried, { limit, reason: text.notWatched });
  const hours = Math.max(watched, shortestWatch);
  const most = poissonLimits(count).high / hours;
  const value = text.rate(count, numberText(hours, 1), numberText(most, 2));
  if (count / hours > seen) return figure(name, "notMet", value, { limit, reason: text.rateTooHigh });
  return most > plausible
    ? figure(name, "notKnown", value, { limit, reason: text.rateUnknown(numberText(most, 1)) })
    : figure(name, "met", value, { limit });
}

/** An hour is divided by something, though the first report has just come. */
const shortestWatch = inHours(minutes(6));

/** A promise that was not kept for so long is not kept. */
const paidWithin = minutes(1);

function payFigure(run: BenchRun, until: Instant): BenchFigure {
  const { tally, sensors } = run;
  const text = texts.benchRun;
  if (!sensors.detector && !sensors.button) return notFitted("pay");
  const { latencies, unpaid } = tally;
  const limit = text.payLimit(secondsText(benchLimits.payMilliseconds));
  const broken = unpaid.filter(({ at, isPromised }) => isPromised && until - at > paidWithin).length;
  const value = latencies.length === 0 ? text.noneTried : payText(latencies);
  if (broken > 0) return figure("pay", "notMet", value, { limit, reason: text.payUnpaid(broken) });
  if (latencies.length < benchLimits.paidNeeded) {
    const hasEarnedNothing = tally.promised === 0 && latencies.length === 0 && unpaid.length === 0;
    const wasTried = tally.capHits + tally.pressHits > 0;
    return hasEarnedNothing && wasTried
      ? figure("pay", "noted", text.payNothingEarned)
      : figure("pay", "notKnown", value, { limit, reason: text.payFew(latencies.length) });
  }
  return quantile(latencies, 0.95) > benchLimits.payMilliseconds
    ? figure("pay", "notMet", value, { limit, reason: text.paySlow })
    : figure("pay", "met", value, { limit });
}

const secondsText = (span: number) => numberText(span / 1_000, 1);

const payText = (latencies: readonly number[]): string =>
  texts.benchRun.pay(
    secondsText(quantile(latencies, 0.5)),
    secondsText(quantile(latencies, 0.95)),
    secondsText(Math.max(...latencies)),
    latencies.length,
  );
