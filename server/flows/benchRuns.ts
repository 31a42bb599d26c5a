import type { BenchRequest } from "../contract/benchRequest.ts";
import type { BenchFigureView, BenchRunView, BenchStepView, BenchView } from "../contract/benchView.ts";
import { isAssumed } from "../domain/assumedSettings.ts";
import {
  type BenchRun,
  type BenchStepKind,
  currentStep,
  isKeepersStep,
  stepEndsAt,
  stepOf,
  stepsOf,
} from "../domain/benchRun/benchRun.ts";
import { benchPortionGrams } from "../domain/benchRun/portionFigures.ts";
import { benchFigures, benchVerdict } from "../domain/benchRun/verdict.ts";
import type { FeederState } from "../domain/feeder.ts";
import { type Instant, isoOf } from "../domain/instant.ts";
import { isPaused } from "../domain/orders/pauseStatus.ts";
import type { FeederRow, Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { applyKeeperAction, sendBenchOrder } from "./keeperActions.ts";
import { benchActOf } from "./pure/benchActs.ts";
import { maybeIso } from "./views.ts";

/** What came of a keeper's act about a bench run. */
export type BenchOutcome =
  | { readonly kind: "done"; readonly row: FeederRow }
  | { readonly kind: "conflict"; readonly problem: string }
  | { readonly kind: "noFeeder" };

/** Starts, continues or stops a bench run. A repeated request changes nothing, and is answered as the first one. */
export async function changeBenchRun(
  ports: Ports,
  feeder: string,
  request: BenchRequest,
  by: string,
): Promise<BenchOutcome> {
  const known = await ports.store.yards.feeder(feeder);
  if (known === null) return { kind: "noFeeder" };
  if (isRepeated(known.state, request)) return { kind: "done", row: known };
  const problem = request.what.kind === "start" ? startProblem(known.state, ports.clock.now()) : null;
  if (problem !== null) return { kind: "conflict", problem };
  if (request.what.kind !== "start" && known.state.bench?.current?.id !== request.run)
    return { kind: "conflict", problem: texts.benchRun.noSuchRun };
  const row = await applyKeeperAction(ports, feeder, by, () => ({ kind: "benchAct", act: benchActOf(request), by }));
  if (row === null) return { kind: "noFeeder" };
  return { kind: "done", row: await sendBenchOrder(ports, row) };
}

/** Done already, or its step is over: the client repeats it after a lost answer. */
function isRepeated(state: FeederState, request: BenchRequest): boolean {
  const run = runsOf(state).find(({ id }) => id === request.run);
  if (run === undefined) return false;
  switch (request.what.kind) {
    case "start":
      return true;
    case "stop":
      return run.ended !== null;
    case "next":
      return (stepOf(run, request.what.step)?.to ?? null) !== null;
  }
}

function startProblem({ bench, orders }: FeederState, now: Instant): string | null {
  if (bench?.current != null) return texts.benchRun.runsAlready;
  const { newest } = orders;
  const isPauseUnanswered = newest?.kind === "pause" && newest.status !== "confirmed" && newest.status !== "refused";
  return isPaused(orders, now) || isPauseUnanswered ? texts.benchRun.isPaused : null;
}

const runsOf = ({ bench }: FeederState): readonly BenchRun[] =>
  bench === undefined ? [] : [...(bench.current === null ? [] : [bench.current]), ...bench.past];

export function benchView({ state }: FeederRow, now: Instant): BenchView {
  const { bench, settings } = state;
  const runs = runsOf(state);
  const views = runs.map((run, index) => runView(run, runs[index + 1] ?? null, now));
  const { detector, button, scale } = settings.sensors;
  return {
    current: bench?.current == null ? null : (views[0] ?? null),
    past: bench?.current == null ? views : views.slice(1),
    problem: startProblem(state, now),
    fitted: { detector, button, scale },
    portionGrams: isAssumed(settings, "portionMass") ? null : settings.portionMass,
  };
}

function runView(run: BenchRun, before: BenchRun | null, now: Instant): BenchRunView {
  const figures = benchFigures(run, now);
  const verdict = run.ended === null ? null : benchVerdict(figures);
  const earlier = before === null ? [] : benchFigures(before, now);
  return {
    id: run.id,
    requestedBy: run.requestedBy,
    startedAt: isoOf(run.startedAt),
    ended: run.ended === null ? null : { at: isoOf(run.ended.at), text: endText(run.ended.by, run.requestedBy) },
    steps: stepsOf(run.plan, run.sensors).map((kind) => stepView(run, kind)),
    verdict,
    verdictText: verdict === null ? null : texts.benchRun.verdicts[verdict],
    figures: figures.map((figure): BenchFigureView => {
      const same = earlier.find(({ name }) => name === figure.name);
      const { status, value, limit, reason } = figure;
      const label = texts.benchRun.labels[figure.name];
      return {
        ...{ label, status, value, limit, reason },
        before: same ? { value: same.value, status: same.status } : null,
      };
    }),
    portionGrams: benchPortionGrams(run),
  };
}

const endText = (by: NonNullable<BenchRun["ended"]>["by"], name: string): string =>
  by === "keeper" ? texts.benchRun.ends.keeper(name) : texts.benchRun.ends[by];

function stepView(run: BenchRun, kind: BenchStepKind): BenchStepView {
  const step = stepOf(run, kind);
  const isNow = currentStep(run)?.kind === kind;
  const endsAt = isNow && !isKeepersStep(kind) ? stepEndsAt(run) : null;
  return {
    kind,
    status: isNow ? "now" : step === null ? "next" : "done",
    endsAt: maybeIso(endsAt),
    count: stepCount(run, kind),
    problem: kind === "portions" ? refusal(run) : null,
    knownGrams: kind === "knownMass" ? run.plan.knownMass : null,
  };
}

const refusal = ({ answer }: BenchRun): string | null =>
  answer?.outcome === "refused" ? (answer.problem ?? texts.benchRun.runsRefusedSilently) : null;

function stepCount({ plan, tally }: BenchRun, kind: BenchStepKind): BenchStepView["count"] {
  if (kind === "portions") return { seen: tally.portions.length, of: plan.portions };
  if (kind === "caps") return { seen: tally.capHits, of: plan.caps };
  return kind === "presses" ? { seen: tally.pressHits, of: plan.presses } : null;
}
