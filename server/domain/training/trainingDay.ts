import type { FaultKind } from "../faults.ts";
import type { Instant, Span } from "../instant.ts";
import type { LocalDate } from "../localTime.ts";
import { isWithin, lengthOfSpans, type TimeSpan, withoutSpans } from "../timeSpans.ts";
import { type Bout, boutsOf } from "./bouts.ts";
import { type Contingency, contingency } from "./contingency.ts";
import { type Ledger, ledgerOf } from "./promises.ts";
import { type Session, sessionsOf, type Trial, trialsOf } from "./sessions.ts";
import { type ActKind, actOf, type StageKind } from "./stage.ts";
import type { TrainingEvent } from "./trainingEvent.ts";

/** One local day of one feeder, as the training record needs it. */
export interface TrainingDay {
  readonly date: LocalDate;
  readonly ledger: Ledger;
  readonly bouts: readonly Bout[];
  /** Trials outside of the spans that don't count; null: without visits the feeder can't show them. */
  readonly trials: readonly Trial[] | null;
  readonly sessions: readonly Session[];
  /** Acts of the stage that were seen, by hour of the local day. */
  readonly acts: number;
  readonly actsByHour: readonly number[];
  /** The birds' day there: from civil dawn to dusk, and as much of it as could be judged. */
  readonly lit: Span;
  readonly judged: Span;
  readonly airCelsius: number | null; // mean of the birds' day
  readonly contingency: Contingency;
}

/** A span in which the feeder was not what the birds know it as, and why. */
export interface Exclusion extends TimeSpan {
  readonly why: ExclusionReason;
  readonly fault: FaultKind | null; // null where it was none
}

/** `fault`: an alarm of feeding or of a sensor that the record needs. `gap`: the feeder reported nothing. */
export type ExclusionReason = "fault" | "paused" | "gap" | "bench";

export interface TrainingDayInput {
  readonly date: LocalDate;
  readonly stage: StageKind;
  readonly events: readonly TrainingEvent[]; // in order of time
  readonly lit: TimeSpan;
  readonly excluded: readonly Exclusion[];
  readonly airCelsius: number | null;
  readonly seesVisits: boolean;
  readonly pressesArePromises: boolean;
  hourOf(at: Instant): number;
}

export function trainingDay(input: TrainingDayInput): TrainingDay {
  const { date, stage, events, lit, excluded, airCelsius, seesVisits, pressesArePromises, hourOf } = input;
  const isPaused = (at: Instant) => excluded.some((span) => span.why === "paused" && isWithin(span, at));
  const ledger = ledgerOf(events, { pressesArePromises, isPaused });
  const bouts = boutsOf(events);
  const act = actOf(stage);
  const isJudged = (at: Instant) => !excluded.some((span) => isWithin(span, at));
  const found = trialsOf(act, bouts, ledger.freePortions, seesVisits);
  const trials = found?.filter(({ at }) => isJudged(at)) ?? null;
  const acts = momentsOfActs(act, events, bouts).filter(isJudged);
  const judgedSpans = withoutSpans(lit, excluded);
  return {
    ...{ date, ledger, bouts, trials, airCelsius },
    sessions: trials === null ? [] : sessionsOf(trials),
    acts: acts.length,
    actsByHour: byHour(acts, hourOf),
    lit: (lit.to - lit.from) as Span,
    judged: lengthOfSpans(judgedSpans),
    contingency: contingency(acts, foodOf(events), judgedSpans),
  };
}

/** Of free food the acts are the bouts of visits. */
function momentsOfActs(act: ActKind, events: readonly TrainingEvent[], bouts: readonly Bout[]): readonly Instant[] {
  if (act === "freeFood") return bouts.map(({ from }) => from);
  return events
    .filter((event) => event.kind === act && !(event.kind === "deposit" && event.metal === false))
    .map(({ recordedAt }) => recordedAt);
}

const foodOf = (events: readonly TrainingEvent[]): readonly Instant[] =>
  events
    .filter((event) => event.kind === "portion" && event.cause !== "bench" && event.chuteCount !== 0)
    .map(({ recordedAt }) => recordedAt);

function byHour(acts: readonly Instant[], hourOf: (at: Instant) => number): readonly number[] {
  const hours = Array.from({ length: 24 }, () => 0);
  for (const at of acts) hours[hourOf(at)] = (hours[hourOf(at)] ?? 0) + 1;
  return hours;
}

/** Null: the feeder sees no visits, so there are no trials. */
export const trialCounts = ({ trials }: Pick<TrainingDay, "trials">) =>
  trials === null ? null : { trials: trials.length, successes: trials.filter(({ success }) => success).length };
