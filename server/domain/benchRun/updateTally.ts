import { between, type Instant, type Span } from "../instant.ts";
import type { FeederEvent, Readings, Report } from "../report.ts";
import type { Celsius, Volts } from "../units.ts";
import { actsMax, type BenchRun, type BenchStepKind, currentStep, portionsMax, stepAt } from "./benchRun.ts";
import type { BenchTally, Heartbeats } from "./tally.ts";

type Draft = { -readonly [part in keyof BenchTally]: BenchTally[part] };

/** A report during a bench run. */
export interface BenchReport {
  readonly report: Report;
  /** When its readings were taken; null where they are not the newest, or of another start of the feeder. */
  readonly readingsAt: Instant | null;
  readonly now: Instant;
}

export function updateTally(run: BenchRun, { report, readingsAt, now }: BenchReport): BenchTally {
  const tally: Draft = { ...run.tally };
  for (const event of report.events) countEvent(tally, run, event, report.boot);
  if (currentStep(run)?.kind === "soak") tally.heartbeats = withReport(tally.heartbeats, run, now);
  if (readingsAt !== null) takeReadings(tally, run, report, readingsAt);
  return tally;
}

// --- events -----------------------------------------------------------------------------------------------------------

function countEvent(tally: Draft, run: BenchRun, event: FeederEvent, boot: string): void {
  const step = isBenchPortion(event)
    ? portionStep(run, event.recordedAt)
    : (stepAt(run, event.recordedAt)?.kind ?? null);
  if (step === null) return;
  if (event.kind === "portion") countPortion(tally, step, event, boot);
  if (event.kind === "deposit") countDeposit(tally, step, event);
  if (event.kind === "press") countPress(tally, step);
  if ((event.kind === "press" || event.kind === "deposit") && event.earns !== false) awaitPortion(tally, event, boot);
}

const isBenchPortion = (event: FeederEvent): boolean => event.kind === "portion" && event.cause === "bench";

/** It was ordered, so it is of this step, also where the feeder's clock dates it a little before. */
const portionStep = (run: BenchRun, at: Instant): BenchStepKind | null =>
  currentStep(run)?.kind === "portions" ? "portions" : (stepAt(run, at)?.kind ?? null);

const isUntouched = (step: BenchStepKind): boolean => step === "quiet" || step === "portions" || step === "soak";

function countDeposit(tally: Draft, step: BenchStepKind, { metal }: FeederEvent & { kind: "deposit" }): void {
  if (step === "caps" && metal === false) tally.capsWithoutMetal += 1;
  if (metal === false) return;
  if (step === "caps") tally.capHits += 1;
  if (isUntouched(step)) tally.falseHits += 1;
}

function countPress(tally: Draft, step: BenchStepKind): void {
  if (step === "presses") tally.pressHits += 1;
  if (isUntouched(step)) tally.falsePresses += 1;
}

const actName = (boot: string, seq: number) => `${boot} ${seq}`;
const awaitedMax = 2 * actsMax;
const latenciesMax = 4 * actsMax;

function awaitPortion(tally: Draft, event: FeederEvent & { kind: "press" | "deposit" }, boot: string): void {
  if (event.kind === "deposit" && event.metal === false) return;
  const isPromised = event.earns === true;
  if (isPromised) tally.promised += 1;
  const act = { act: actName(boot, event.seq), at: event.recordedAt, isPromised };
  tally.unpaid = [...tally.unpaid, act].slice(-awaitedMax);
}

function countPortion(
  tally: Draft,
  step: BenchStepKind,
  portion: FeederEvent & { kind: "portion" },
  boot: string,
): void {
  const { recordedAt: at, motorRan, chuteCount, lowestSupply, cutShort = false } = portion;
  if (lowestSupply !== null) tally.supply = { ...tally.supply, lowest: lower(tally.supply.lowest, lowestSupply) };
  if (step === "portions" && tally.portions.length < portionsMax)
    tally.portions = [...tally.portions, { at, motorRan, chuteCount, lowestSupply, cutShort }];
  if (portion.paysFor === null || cutShort) return;
  const paid = tally.unpaid.find(({ act }) => act === actName(boot, portion.paysFor as number));
  if (paid === undefined) return;
  tally.unpaid = tally.unpaid.filter((act) => act !== paid);
  tally.latencies = [...tally.latencies, Math.max(0, between(paid.at, at)) as Span].slice(-latenciesMax);
}

const lower = (known: Volts | null, value: Volts): Volts => (known === null || value < known ? value : known);

// --- readings and heartbeats --------------------------------------------------------------------------------------------

function takeReadings(tally: Draft, run: BenchRun, report: Report, at: Instant): void {
  const { readings, boot } = report;
  const isSameBoot = tally.boot === null || tally.boot === boot;
  if (!isSameBoot) tally.restarts += 1;
  else if (tally.lastAt !== null) tally.watched = (tally.watched + untouchedTime(run, tally.lastAt, at)) as Span;
  tally.boot = boot;
  tally.lastAt = at;
  takeSupplyAndTemperature(tally, readings);
  const step = stepAt(run, at)?.kind ?? null;
  const isComplete = readings.spooled === null || readings.spooled <= report.events.length;
  if (step !== null && isComplete) takeWeight(tally, readings, step);
}

/** How long of a span the feeder was left alone, so that each hit and press was a false one. */
function untouchedTime(run: BenchRun, from: Instant, to: Instant): number {
  return run.steps.reduce((sum, step) => {
    if (!isUntouched(step.kind)) return sum;
    return sum + Math.max(0, Math.min(to, step.to ?? Number.POSITIVE_INFINITY) - Math.max(from, step.from));
  }, 0);
}

function takeSupplyAndTemperature(tally: Draft, { supply, inside, air }: Readings): void {
  if (supply !== null) {
    const { count, sum, lowest } = tally.supply;
    tally.supply = { count: count + 1, sum: sum + supply, lowest };
  }
  const celsius = inside ?? air;
  if (celsius === null) return;
  const { low, high } = tally.temperature ?? { low: celsius, high: celsius };
  tally.temperature = { low: Math.min(low, celsius) as Celsius, high: Math.max(high, celsius) as Celsius };
}

function takeWeight(tally: Draft, { hopper }: Readings, step: BenchStepKind): void {
  if (hopper === null) return;
  if (step === "quiet") {
    const { count, mean, squares } = tally.restWeights;
    const difference = hopper - mean;
    const newMean = mean + difference / (count + 1);
    tally.restWeights = { count: count + 1, mean: newMean, squares: squares + difference * (hopper - newMean) };
  }
  if (step === "quiet" || step === "portions") {
    const portions = tally.portions.length;
    const kept = tally.weights.at(-1)?.portions === portions ? tally.weights.slice(0, -1) : tally.weights;
    tally.weights = [...kept, { portions, grams: hopper }];
  }
  // The mass is put on within its step: the last weight is the one with it.
  if (step === "knownMass") {
    if (tally.massBefore === null) tally.massBefore = hopper;
    else tally.massAfter = hopper;
  }
}

/** Also a report from a backlog shows that the feeder got through. */
function withReport({ lastAt, missed, longestGap }: Heartbeats, run: BenchRun, now: Instant): Heartbeats {
  const gap = between(lastAt ?? (currentStep(run)?.from as Instant), now);
  return {
    lastAt: now,
    missed: missed + missedWithin(gap, run.reportEvery),
    longestGap: Math.max(longestGap, gap) as Span,
  };
}

/** How many reports are missing in a gap: one that comes half an interval late is late, not missing. */
export const missedWithin = (gap: Span, reportEvery: Span): number => Math.max(0, Math.round(gap / reportEvery) - 1);
