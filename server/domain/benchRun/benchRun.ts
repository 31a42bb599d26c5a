import { after, type Instant, milliseconds, minutes, type Span, seconds } from "../instant.ts";
import type { FittedSensors } from "../settings.ts";
import type { Grams } from "../units.ts";
import { type BenchTally, initialTally } from "./tally.ts";

/**
 * The bench run of a feeder before it goes outdoors: the server leads it through some steps, of which the feeder does one by itself
 * (portions) and the keeper the others, and judges what was reported meanwhile. Plain JSON, bounded.
 */
export interface BenchRun {
  /** Chosen by the client; also the id of the order to the feeder. */
  readonly id: string;
  readonly requestedBy: string;
  readonly startedAt: Instant;
  readonly plan: BenchPlan;
  /** As they were when it started. */
  readonly sensors: FittedSensors;
  readonly reportEvery: Span;
  /** Those that have begun, in order; the last one goes on until its end. */
  readonly steps: readonly BenchStep[];
  /** The feeder's answer to the order of the portions; null: none yet. */
  readonly answer: BenchAnswer | null;
  /** What the keeper found when the food was weighed; left out: not weighed yet. */
  readonly weighed?: WeighedFood;
  readonly tally: BenchTally;
  readonly ended: { readonly at: Instant; readonly by: BenchEnd } | null;
}

/** What is to be done; 0 or null leaves a step out. */
export interface BenchPlan {
  /** In which nobody touches the feeder. */
  readonly quiet: Span;
  readonly portions: number;
  readonly caps: number;
  readonly presses: number;
  readonly knownMass: Grams | null;
  readonly soak: Span;
}

/** In this order. `weigh`: the keeper weighs what fell; `settle`: what was reported late is still counted. */
export const benchStepKinds = ["quiet", "portions", "weigh", "caps", "presses", "knownMass", "soak", "settle"] as const;
export type BenchStepKind = (typeof benchStepKinds)[number];

/** Those that the keeper ends. */
export type KeepersStep = "weigh" | "caps" | "presses" | "knownMass";

export interface BenchStep {
  readonly kind: BenchStepKind;
  readonly from: Instant;
  readonly to: Instant | null; // null: it goes on
}

export interface BenchAnswer {
  readonly outcome: "done" | "refused";
  readonly problem: string | null;
  readonly at: Instant;
}

export interface WeighedFood {
  readonly total: Grams | null; // of all portions together; null: not weighed
  readonly empty: number | null; // portions that the keeper saw give nothing; null: not counted
}

/** `done`: all steps. `keeper`: stopped. `pause`: a pause was requested. `nobody`: a keeper's step was left for too long. */
export type BenchEnd = "done" | "keeper" | "pause" | "nobody";

export interface BenchState {
  readonly current: BenchRun | null;
  readonly past: readonly BenchRun[]; // the newest first
}

export const initialBench: BenchState = { current: null, past: [] };
export const pastRunsMax = 4;

/** Between two portions: the motor cools, the scale comes to rest and a report gets through. Our choice. */
export const benchRest = seconds(6);
export const portionsMax = 100;
export const actsMax = 50;

/** While somebody stands beside it, the feeder reports so often. */
const benchReportEvery = seconds(5);

/** A step of the keeper that nobody ends, after which alarms ring again. Our choice. */
const keeperStepMax = minutes(120);

export function newBenchRun(
  of: Pick<BenchRun, "id" | "requestedBy" | "plan" | "sensors" | "reportEvery">,
  now: Instant,
): BenchRun {
  const { id, requestedBy, plan, sensors, reportEvery } = of;
  const first = stepsOf(plan, sensors)[0] ?? "settle";
  return {
    ...{ id, requestedBy, startedAt: now, plan, sensors, reportEvery },
    steps: [{ kind: first, from: now, to: null }],
    answer: null,
    tally: initialTally(),
    ended: null,
  };
}

/** The steps that this run has: a sensor that isn't fitted is not tried. */
export function stepsOf(plan: BenchPlan, sensors: FittedSensors): readonly BenchStepKind[] {
  const isPart: Record<BenchStepKind, boolean> = {
    quiet: plan.quiet > 0,
    portions: plan.portions > 0,
    weigh: plan.portions > 0,
    caps: plan.caps > 0 && sensors.detector,
    presses: plan.presses > 0 && sensors.button,
    knownMass: plan.knownMass !== null && sensors.scale,
    soak: plan.soak > 0,
    settle: true,
  };
  return benchStepKinds.filter((kind) => isPart[kind]);
}

export const currentStep = (run: BenchRun): BenchStep | null =>
  run.ended === null ? (run.steps.at(-1) ?? null) : null;

export const stepOf = (run: BenchRun, kind: BenchStepKind): BenchStep | null =>
  run.steps.find((step) => step.kind === kind) ?? null;

/** The step in which something happened; null: before the run or after it. */
export const stepAt = (run: BenchRun, at: Instant): BenchStep | null =>
  run.steps.find(({ from, to }) => from <= at && at < (to ?? Number.POSITIVE_INFINITY)) ?? null;

/** When the current step ends by itself, at the latest; null: never, as the run is over. */
export function stepEndsAt(run: BenchRun): Instant | null {
  const step = currentStep(run);
  if (step === null) return null;
  const { plan, reportEvery } = run;
  const length: Record<BenchStepKind, Span> = {
    quiet: plan.quiet,
    // A portion of the slowest motor takes some ten seconds; the order waits for a report, and its answer for another one.
    portions: milliseconds(plan.portions * (benchRest + seconds(12)) + 3 * reportEvery + minutes(5)),
    weigh: keeperStepMax,
    caps: keeperStepMax,
    presses: keeperStepMax,
    knownMass: keeperStepMax,
    soak: plan.soak,
    settle: milliseconds(2 * reportEvery + seconds(30)),
  };
  return after(step.from, length[step.kind]);
}

export const isKeepersStep = (kind: BenchStepKind): kind is KeepersStep =>
  kind === "weigh" || kind === "caps" || kind === "presses" || kind === "knownMass";

/** Whether a bench run is under way: what the sensors report then is the keeper's doing, and no alarm is one of the garden. */
export const isBenchRunning = (bench: BenchState | undefined): boolean => bench != null && bench.current !== null;

/** How often the feeder is to report now; null: as set. */
export function benchReportInterval(bench: BenchState | undefined): Span | null {
  const step = bench?.current == null ? null : currentStep(bench.current);
  return step === null || step.kind === "soak" || step.kind === "settle" ? null : benchReportEvery;
}
