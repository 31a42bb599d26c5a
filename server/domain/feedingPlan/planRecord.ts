import { before, type Instant, later, minutes, type Span } from "../instant.ts";
import type { Report } from "../report.ts";
import type { DayPlan } from "./dayPlan.ts";

/**
 * What the plan had the feeder give free on one local day, and what it gave: kept as reports come in. A time of the plan counts only while
 * the feeder says that it follows this plan, isn't paused and has some of the ration left.
 */
export interface PlanRecord extends PlannedAndGiven {
  /** Portions each time. */
  readonly each: number;
  /** Portions of any cause on that day: they use up the ration. */
  readonly portions: number;
  /** Times of the plan up to here have been judged, or count for nothing. */
  readonly judgedUntil: Instant;
  /** The most that was ever missing that day: what more is missing has a cause of its own. */
  readonly missedMost: number;
  readonly paused: boolean;
  /** The boot of the last report, when it began and when it was first heard of. */
  readonly boot: string;
  readonly bootedAt: Instant;
  readonly heardAt: Instant;
  readonly dayBefore: PlannedAndGiven | null;
}

export interface PlannedAndGiven {
  readonly from: Instant; // begin of the local day
  /** Portions, of the times that have been judged. */
  readonly planned: number;
  /** Portions of free food; one that was cut short, or without motor, is none. */
  readonly given: number;
  /** Why portions are missing, in the order in which they were missed. */
  readonly causes: readonly MissedCause[];
}

/** `power`: the board was off. `time`: it had started and didn't know the time yet. */
export type MissedCause = "power" | "time" | "supply" | "motor" | "unknown";

/** What is known besides the report. */
export interface PlanSituation {
  /** When its readings were taken; null where a newer report is known. */
  readonly at: Instant | null;
  /** The day of `at` by the plan that the feeder says it follows; null: it follows another, or none. */
  readonly day: DayPlan | null;
  readonly paused: boolean;
  /** Plainly colder than the frost floor's limit. */
  readonly isFrost: boolean;
  /** What would explain that free food is missing now; null: nothing known. */
  readonly trouble: "supply" | "motor" | null;
}

/** A feeder makes up for what it missed for ten minutes; then its motor runs, and the report must come. */
const lateAtMost = minutes(15);

export function updatePlanRecord(
  known: PlanRecord | undefined,
  report: Report,
  situation: PlanSituation,
): PlanRecord | undefined {
  const { at, day, paused } = situation;
  if (at === null) return known === undefined ? undefined : countPortions(known, report);
  if (day === null) {
    // Nothing is planned by what it follows: what passes now is never judged.
    return known === undefined ? undefined : { ...known, ...startOf(known, report, at), judgedUntil: at };
  }
  const record = countPortions(recordOf(known, day, report, at), report);
  // What came while it was paused is not made up for, nor what came between its last report and the end of the pause.
  if (paused || record.paused) return { ...record, paused, judgedUntil: later(at, record.judgedUntil) };
  const { spooled } = report.readings;
  const isComplete = spooled === null || spooled <= report.events.length;
  return isComplete ? judgeTimes(record, day, situation, before(at, lateAtMost)) : record;
}

function recordOf(known: PlanRecord | undefined, day: DayPlan, report: Report, at: Instant): PlanRecord {
  const start = startOf(known, report, at);
  if (known?.from === day.from) return { ...known, ...start, each: day.portionsEach };
  return {
    from: day.from,
    planned: 0,
    given: 0,
    causes: [],
    each: day.portionsEach,
    portions: 0,
    // A plan that has just been taken promised nothing of the hours before.
    judgedUntil: known === undefined ? at : known.judgedUntil,
    missedMost: 0,
    paused: known?.paused ?? false,
    ...start,
    dayBefore: known === undefined ? null : plannedAndGiven(known),
  };
}

const plannedAndGiven = ({ from, planned, given, causes }: PlanRecord): PlannedAndGiven => ({
  ...{ from, planned, given, causes },
});

function startOf(known: PlanRecord | undefined, { boot, sentUptime }: Report, at: Instant) {
  if (known !== undefined && (known.boot === boot || sentUptime === null)) {
    return { boot: known.boot, bootedAt: known.bootedAt, heardAt: known.heardAt };
  }
  return { boot, bootedAt: before(at, sentUptime ?? (0 as Span)), heardAt: at };
}

function countPortions(record: PlanRecord, { events }: Report): PlanRecord {
  let { given, portions } = record;
  for (const event of events) {
    // A portion of a bench run uses up no bird's ration.
    if (event.kind !== "portion" || event.cause === "bench" || event.recordedAt < record.from) continue;
    portions += 1;
    if (event.cause === "timer" && event.cutShort !== true && event.motorRan !== 0) given += 1;
  }
  return portions === record.portions ? record : { ...record, given, portions };
}

function judgeTimes(record: PlanRecord, day: DayPlan, situation: PlanSituation, until: Instant): PlanRecord {
  const { judgedUntil, given, missedMost } = record;
  if (until <= judgedUntil) return record;
  const isDue = (time: Instant) => time > judgedUntil && time <= until;
  const due = day.free.filter(isDue);
  // What was given of it has used up some of the ration already.
  const allowed = Math.max(0, given - record.planned) + Math.max(0, day.portionsMax - record.portions);
  const frost = situation.isFrost ? day.frost.filter(isDue).length : 0;
  const planned = record.planned + Math.min(due.length * day.portionsEach, allowed) + frost;
  const last = due.at(-1);
  const judged = { ...record, planned, judgedUntil: until };
  if (last === undefined || planned - given <= missedMost) return judged;
  return { ...judged, missedMost: planned - given, causes: withCause(record, causeAt(last, record, situation)) };
}

function causeAt(time: Instant, { bootedAt, heardAt }: PlanRecord, { trouble }: PlanSituation): MissedCause {
  if (time <= bootedAt) return "power";
  if (time <= heardAt) return "time";
  return trouble ?? "unknown";
}

const withCause = ({ causes }: PlanRecord, cause: MissedCause): readonly MissedCause[] =>
  causes.includes(cause) ? causes : [...causes, cause];
