import { isAssumed } from "../assumedSettings.ts";
import { birdsEventFilter } from "../benchRun/advanceBench.ts";
import type { BenchState } from "../benchRun/benchRun.ts";
import { isStanding } from "../digest/digestFeeder.ts";
import type { Effect } from "../effects.ts";
import type { Fact } from "../facts.ts";
import type { FaultKind } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import { hopperLevel } from "../hopper/level.ts";
import { after, before, type Instant, minutes } from "../instant.ts";
import type { FeederEvent, Portion, PortionCause, Report } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import { withoutStuckReadings } from "../silence/stuckReadings.ts";
import {
  judgeDeposits,
  type PaymentEvent,
  type PaymentEvents,
  paymentEventOf,
  rememberEvents,
} from "./depositPayments.ts";
import { initialPauseSpans, isPausedAt, type PauseSpans, pausedTime, updatePauseSpans } from "./pauseSpans.ts";
import {
  changeAt,
  mergeChanges,
  noChanges,
  type QuarterChanges,
  type QuarterRollup,
  splitSpan,
} from "./quarterChanges.ts";
import { reportedSpan } from "./reportedTime.ts";
import { type CountName, type Measure, measureNames, measureSteps } from "./rollup.ts";
import { quarterOf, type RollupSpan } from "./rollupSpans.ts";

/**
 * The roll-ups of one feeder while reports come in. Events count in the quarter of an hour in which the feeder recorded them, so
 * a report may change quarters that were stored long ago: every roll-up here is what is to be merged into a stored one, if there
 * is one. The same steps give the same roll-ups, so that a replay of the log gives what the server has stored.
 *
 * Plain JSON values. After each step `closedQuarters` hands out once what is to be stored, in the transaction that stores the step.
 * Whoever rebuilds these values from steps that are stored drops what closes in them: it is stored as well.
 */
export interface Rollups {
  readonly open: readonly QuarterRollup[]; // in order of time
  readonly paymentEvents: PaymentEvents;
  readonly pauses: PauseSpans;
}

export const initialRollups = (): Rollups => ({ open: [], paymentEvents: [], pauses: initialPauseSpans });

/** One step of a feeder (advanceFeeder.ts): the fact that came in at `now`, the states around it, and its effects. */
export interface RollupStep {
  readonly before: FeederState;
  readonly fact: Fact;
  readonly after: FeederState;
  readonly effects: readonly Effect[];
  readonly now: Instant;
}

export function updateRollups(rollups: Rollups, step: RollupStep): Rollups {
  const { fact, after: state, effects, now } = step;
  const pauses = updatePauseSpans(rollups.pauses, state.orders, effects, now);
  const changes = noChanges();
  countAlarms(changes, step);
  let { paymentEvents } = rollups;
  if (fact.kind === "reported") {
    countReport(changes, step, pauses);
    const report = birdsReport(fact.report, state.bench);
    countEvents(changes, report, state.settings);
    const added = paymentEventsOf(report, pauses);
    if (added.length > 0) {
      countPayments(changes, paymentEvents, added);
      paymentEvents = rememberEvents(paymentEvents, added);
    }
  }
  if (fact.kind === "refillReported") countLevel(changes, state, now);
  const open = mergeChanges(rollups.open, changes);
  const isSame = open === rollups.open && paymentEvents === rollups.paymentEvents && pauses === rollups.pauses;
  return isSame ? rollups : { open, paymentEvents, pauses };
}

/** By then the report after the quarter's end has come, and its last deposits have got their portions. Our choice. */
const closeAfter = minutes(5);

/** What is to be merged into the stored roll-ups now, and the roll-ups without it. */
export function closedQuarters(
  rollups: Rollups,
  now: Instant,
): { readonly closed: readonly QuarterRollup[]; readonly rollups: Rollups } {
  const isClosed = ({ from }: QuarterRollup) => after(quarterOf(from).to, closeAfter) <= now;
  if (!rollups.open.some(isClosed)) return { closed: [], rollups };
  return {
    closed: rollups.open.filter(isClosed),
    rollups: { ...rollups, open: rollups.open.filter((quarter) => !isClosed(quarter)) },
  };
}

/** All quarters before this one are closed by then. */
export const firstOpenQuarter = (now: Instant): Instant => quarterOf(before(now, closeAfter)).from;

// --- alarms --------------------------------------------------------------------------------------------------------

/** An alarm that ended within this step stood until then. */
function countAlarms(changes: QuarterChanges, { before: earlierState, after: state, effects, now }: RollupStep): void {
  for (const effect of effects) {
    if (effect.kind !== "alarmChanged") continue;
    const { from, to, at } = effect.change;
    if (to === "unacknowledged" && from !== to) changeAt(changes, at).counts.alarmsRaised += 1;
  }
  const standing = standingAlarmsOf(state);
  for (const kind of earlierState.alarms === state.alarms ? [] : standingAlarmsOf(earlierState)) {
    if (!standing.includes(kind)) standing.push(kind);
  }
  if (standing.length > 0) changeAt(changes, now).standingAlarms = standing.sort();
}

const standingAlarmsOf = (state: FeederState): FaultKind[] =>
  (Object.keys(state.alarms) as FaultKind[]).filter((kind) => isStanding(state, kind));

// --- reports -------------------------------------------------------------------------------------------------------

function countReport(
  changes: QuarterChanges,
  { before: earlierState, after: state, now }: RollupStep,
  pauses: PauseSpans,
) {
  changeAt(changes, now).counts.reports += 1;
  const span = reportedSpan(earlierState, state);
  if (span !== null) countTime(changes, span, pauses);
  if (state.latestReadings === null || state.latestReadings === earlierState.latestReadings) return;
  countReadings(changes, state, state.latestReadings);
  countLevel(changes, state, state.latestReadings.at);
}

const countTime = (changes: QuarterChanges, span: RollupSpan, pauses: PauseSpans): void =>
  splitSpan(span, (from, to) => {
    const { counts } = changeAt(changes, from);
    counts.reportedTime += to - from;
    counts.pausedTime += pausedTime(pauses, from, to);
  });

/** Stuck readings are left out, as everywhere. */
function countReadings(
  changes: QuarterChanges,
  { sensors }: FeederState,
  { at, readings }: NonNullable<FeederState["latestReadings"]>,
): void {
  const credible = withoutStuckReadings(readings, sensors.constantReadings);
  const { measures } = changeAt(changes, at);
  for (const name of measureNames) {
    const reading = credible[name];
    if (reading !== null) measures[name] = measureOf(Math.round(reading / measureSteps[name]) + 0); // no -0, which text doesn't hold
  }
}

const measureOf = (steps: number): Measure => ({ count: 1, sum: steps, least: steps, most: steps });

function countLevel(changes: QuarterChanges, { hopper, settings }: FeederState, at: Instant): void {
  const level = hopperLevel(hopper, settings);
  if (level === null) return;
  const last = decigrams(level.grams);
  changeAt(changes, at).level = {
    at,
    last,
    low: decigrams(level.low),
    high: decigrams(level.high),
    least: last,
    most: last,
  };
}

const decigrams = (mass: number): number => Math.round(10 * mass) + 0;

const birdsReport = (report: Report, bench: BenchState | undefined): Report =>
  bench === undefined ? report : { ...report, events: report.events.filter(birdsEventFilter(bench)) };

// --- events --------------------------------------------------------------------------------------------------------

function countEvents(changes: QuarterChanges, { events }: Report, settings: FeederSettings): void {
  for (const event of events) {
    const name = countNameOf(event);
    if (name === null) continue;
    const change = changeAt(changes, event.recordedAt);
    change.counts[name] += 1;
    if (event.kind === "portion") change.decigramsGiven = addGrams(change.decigramsGiven, event, settings);
  }
}

function countNameOf(event: FeederEvent): CountName | null {
  switch (event.kind) {
    case "visit":
      return "visits";
    case "press":
      return "presses";
    case "deposit":
      return "deposits";
    case "portion":
      return event.cause === "bench" ? null : portionCounts[event.cause];
    case "lid":
    case "refill":
    case "order":
    case "trouble":
    case "unknown":
      return null;
  }
}

const portionCounts = {
  timer: "timerPortions",
  press: "pressPortions",
  deposit: "depositPortions",
  keeper: "keeperPortions",
} as const satisfies Record<Exclude<PortionCause, "bench">, CountName>;

/** As the day page has it: how much fell in a portion that was cut short is unknown, and half of one is the smallest error. */
function addGrams(sum: number | null, portion: Portion, settings: FeederSettings): number | null {
  if (sum === null || isAssumed(settings, "portionMass")) return null;
  const share = portion.cutShort === true ? 0.5 : portion.chuteCount === 0 || portion.motorRan === 0 ? 0 : 1;
  return sum + decigrams(share * settings.portionMass);
}

// --- payments ------------------------------------------------------------------------------------------------------

function paymentEventsOf({ boot, events }: Report, pauses: PauseSpans): readonly PaymentEvent[] {
  const found: PaymentEvent[] = [];
  for (const event of events) {
    const isPaused = event.kind === "deposit" && isPausedAt(pauses, event.recordedAt);
    const paymentEvent = paymentEventOf(boot, event, isPaused);
    if (paymentEvent !== null) found.push(paymentEvent);
  }
  return found;
}

/** A late event may pay a deposit that was counted as unpaid, or move the begin of one to the quarter before. */
function countPayments(changes: QuarterChanges, known: PaymentEvents, added: PaymentEvents): void {
  const differences = noChanges();
  const add = (events: PaymentEvents, sign: 1 | -1) => {
    for (const { at, isPaid } of judgeDeposits(events)) {
      changeAt(differences, at).counts[isPaid ? "depositsPaid" : "depositsUnpaid"] += sign;
    }
  };
  add(known, -1);
  add([...known, ...added], 1);
  for (const [from, { counts }] of differences.byBegin) {
    const { depositsPaid, depositsUnpaid } = counts;
    if (depositsPaid === 0 && depositsUnpaid === 0) continue; // most remembered deposits stay as they were
    const change = changeAt(changes, from).counts;
    change.depositsPaid += depositsPaid;
    change.depositsUnpaid += depositsUnpaid;
  }
}
