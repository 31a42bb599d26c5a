import { after, days, type Instant, type Span } from "../instant.ts";
import type { FeederEvent } from "../report.ts";
import type { FittedSensors } from "../settings.ts";
import {
  type BenchEnd,
  type BenchPlan,
  type BenchRun,
  type BenchState,
  currentStep,
  initialBench,
  isKeepersStep,
  type KeepersStep,
  newBenchRun,
  pastRunsMax,
  stepEndsAt,
  stepOf,
  stepsOf,
  type WeighedFood,
} from "./benchRun.ts";
import { type BenchReport, updateTally } from "./updateTally.ts";

/** What a keeper does about a bench run. A repeat changes nothing, since it names the run and the step. */
export type BenchAct =
  | { readonly kind: "start"; readonly run: string; readonly plan: BenchPlan }
  /** The keeper has done this step. `weighed`: of the step `weigh`. */
  | { readonly kind: "next"; readonly run: string; readonly step: KeepersStep; readonly weighed?: WeighedFood }
  | { readonly kind: "stop"; readonly run: string };

/** What is known of the feeder when a run starts. */
export interface BenchContext {
  readonly sensors: FittedSensors;
  readonly reportEvery: Span;
  readonly boot: string | null; // its present start; null: it never reported
}

export function applyBenchAct(
  bench: BenchState | undefined,
  act: BenchAct,
  by: string,
  { sensors, reportEvery, boot }: BenchContext,
  now: Instant,
): BenchState {
  const state = bench ?? initialBench;
  const { current } = state;
  if (act.kind === "start") {
    if (current !== null || state.past.some(({ id }) => id === act.run)) return state;
    const run = newBenchRun({ id: act.run, requestedBy: by, plan: act.plan, sensors, reportEvery }, now);
    return { ...state, current: { ...run, tally: { ...run.tally, boot } } };
  }
  if (current?.id !== act.run) return state;
  return act.kind === "stop" ? ended(state, current, "keeper", now) : goOn(state, current, act, now);
}

function goOn(state: BenchState, run: BenchRun, act: BenchAct & { kind: "next" }, now: Instant): BenchState {
  const step = currentStep(run);
  if (step?.kind !== act.step || !isKeepersStep(step.kind)) return state;
  const weighed = act.step === "weigh" && act.weighed !== undefined ? { weighed: act.weighed } : {};
  return { ...state, current: withNextStep({ ...run, ...weighed }, now) };
}

/** A pause outranks a bench run, whoever requested it. */
export const endBenchByPause = (bench: BenchState | undefined, now: Instant): BenchState | undefined =>
  bench?.current == null ? bench : ended(bench, bench.current, "pause", now);

export function updateBenchByReport(bench: BenchState | undefined, reported: BenchReport): BenchState | undefined {
  if (bench === undefined) return undefined;
  const { report, now } = reported;
  const [last] = bench.past;
  if (bench.current === null) {
    // The order may still be unanswered after the run was stopped.
    const answered = last === undefined ? last : withAnswer(last, report.events);
    return answered === last || answered === undefined ? bench : { ...bench, past: [answered, ...bench.past.slice(1)] };
  }
  const run = { ...bench.current, tally: updateTally(bench.current, reported) };
  const answered = withAnswer(run, report.events);
  const hasGiven = answered.answer !== null && currentStep(answered)?.kind === "portions";
  return { ...bench, current: hasGiven ? withNextStep(answered, now) : answered };
}

/** Steps that end by themselves. */
export function updateBenchByTime(bench: BenchState | undefined, now: Instant): BenchState | undefined {
  let state = bench;
  for (let run = state?.current ?? null; run !== null && state !== undefined; run = state.current) {
    const endsAt = stepEndsAt(run);
    const step = currentStep(run);
    if (endsAt === null || step === null || now < endsAt) return state;
    if (step.kind === "settle") state = ended(state, run, "done", endsAt);
    else if (isKeepersStep(step.kind)) state = ended(state, run, "nobody", endsAt);
    else state = { ...state, current: withNextStep(run, endsAt) };
  }
  return state;
}

/** When time alone changes the run; null: it doesn't. */
export const benchCheckAt = (bench: BenchState | undefined): Instant | null =>
  bench?.current == null ? null : stepEndsAt(bench.current);

/** The order that the feeder has not answered yet: its portions, or that it is to give no more of them. Null: none. */
export function pendingBenchOrder(
  bench: BenchState | undefined,
  now: Instant,
): { readonly id: string; readonly portions: number } | null {
  const run = bench?.current ?? bench?.past[0] ?? null;
  if (run === null || run.answer !== null || stepOf(run, "portions") === null) return null;
  if (run.ended !== null && now >= after(run.ended.at, stopSentFor)) return null;
  if (currentStep(run)?.kind === "portions") return { id: run.id, portions: run.plan.portions };
  return { id: stopOrderId(run), portions: 0 };
}

/** A feeder that was out of reach may still give the portions when it hears of nothing else. Our choice. */
const stopSentFor = days(1);

const stopOrderId = ({ id }: BenchRun): string => `${id}.stop`;

function withAnswer(run: BenchRun, events: readonly FeederEvent[]): BenchRun {
  if (run.answer !== null) return run;
  for (const event of events) {
    if (event.kind !== "order" || (event.order !== run.id && event.order !== stopOrderId(run))) continue;
    const { outcome, problem, recordedAt: at } = event;
    return { ...run, answer: { outcome, problem, at } };
  }
  return run;
}

function withNextStep(run: BenchRun, now: Instant): BenchRun {
  const step = currentStep(run);
  const kinds = stepsOf(run.plan, run.sensors);
  const next = step === null ? undefined : kinds[kinds.indexOf(step.kind) + 1];
  if (step === null || next === undefined) return run;
  return { ...run, steps: [...closed(run, now), { kind: next, from: now, to: null }] };
}

const closed = (run: BenchRun, now: Instant) =>
  run.steps.map((step) => (step.to === null ? { ...step, to: now } : step));

function ended(state: BenchState, run: BenchRun, by: BenchEnd, at: Instant): BenchState {
  const over: BenchRun = { ...run, steps: closed(run, at), ended: { at, by } };
  return { current: null, past: [over, ...state.past].slice(0, pastRunsMax) };
}

/**
 * The events of a report as the birds' record has them: presses, caps and visits during a bench run are the keeper's, and the portions that
 * pay them are the bench's.
 */
export function withoutBenchActs(
  events: readonly FeederEvent[],
  bench: BenchState | undefined,
): readonly FeederEvent[] {
  if (bench === undefined) return events;
  const spans = benchSpans(bench);
  if (spans.length === 0) return events;
  const isDuringBench = (at: Instant) => spans.some(({ from, to }) => from <= at && at < to);
  if (!events.some(({ recordedAt }) => isDuringBench(recordedAt))) return events;
  return events.flatMap((event): FeederEvent[] => {
    if (!isDuringBench(event.recordedAt)) return [event];
    if (event.kind === "press" || event.kind === "deposit" || event.kind === "visit") return [];
    const isEarned = event.kind === "portion" && (event.cause === "press" || event.cause === "deposit");
    return [isEarned ? { ...event, cause: "bench", paysFor: null } : event];
  });
}

const benchKinds: ReadonlySet<string> = new Set(["press", "deposit", "visit", "portion"]);

/** Which events count for the birds' day: what a keeper pressed, dropped and let fall on the bench doesn't. */
export function birdsEventFilter(
  bench: BenchState | undefined,
): (event: { readonly kind: string; readonly recordedAt: Instant }) => boolean {
  const spans = benchSpans(bench);
  return ({ kind, recordedAt: at }) => !benchKinds.has(kind) || !spans.some(({ from, to }) => from <= at && at < to);
}

/** When bench runs were or are under way; the end is not part of it, and infinite while one goes on. */
export function benchSpans(bench: BenchState | undefined): readonly { readonly from: Instant; readonly to: Instant }[] {
  if (bench === undefined) return [];
  const runs = bench.current === null ? bench.past : [bench.current, ...bench.past];
  return runs.map(({ startedAt, ended: end }) => ({
    from: startedAt,
    to: end?.at ?? (Number.POSITIVE_INFINITY as Instant),
  }));
}
