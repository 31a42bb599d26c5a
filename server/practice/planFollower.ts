import type { SentPlan } from "../contract/plan.ts";
import { type Instant, instant, minutes, type Span } from "../domain/instant.ts";

/**
 * How a feeder carries out the keeper's plan, as `deploy/feeder/plan.py` does: free food at its times, what a press or a cap earns, and the
 * ration. Values in, values out; the whole memory is on the feeder's disk.
 */
export interface PlanMemory {
  readonly plan: SentPlan;
  /** Of the planned day that is under way: when it begins, portions given, and how many of its times have passed. */
  readonly day: { readonly from: number; readonly given: number; readonly free: number; readonly frost: number } | null;
  readonly acts: Readonly<Record<EarningKind, EarnedSoFar>>;
  /** Free food that was due up to here has been given, or is left out. */
  readonly givenUntil: Instant;
}

export type EarningKind = "press" | "deposit";

/** Acts since the last portion, the place in the list of ratios, and when an act was last paid, by the feeder's own clock. */
interface EarnedSoFar {
  readonly done: number;
  readonly next: number;
  readonly paidAt: Instant | null;
}

/** Missed for longer, free food is not made up for. */
const lateAtMost: Span = minutes(10);
const nothingEarned: EarnedSoFar = { done: 0, next: 0, paidAt: null };

/** Another plan is in force. What was given today still counts, and the times that have passed belonged to the plan before. */
export function takePlan(before: PlanMemory | null, plan: SentPlan, now: Instant): PlanMemory {
  const hasSameRules =
    before !== null &&
    JSON.stringify([before.plan.press, before.plan.deposit]) === JSON.stringify([plan.press, plan.deposit]);
  const acts = before !== null && hasSameRules ? before.acts : { press: nothingEarned, deposit: nothingEarned };
  const [was, day] = [before?.day ?? null, dayAt(plan, now)];
  if (day === null) return { plan, day: null, acts, givenUntil: now };
  const given = was?.from === day.from ? was.given : 0;
  return {
    plan,
    acts,
    givenUntil: now,
    day: { from: day.from, given, free: passedOf(day.free, day, now), frost: passedOf(day.frost, day, now) },
  };
}

/** How many portions of free food are due now; their times count as done. @param air degrees Celsius; null: not measured */
export function dueFreeFood(before: PlanMemory, now: Instant, air: number | null) {
  const memory = { ...today(before, now), givenUntil: now };
  const day = dayAt(memory.plan, now);
  if (day === null || memory.day === null) return { memory, portions: 0 };
  const { portionsEach, frostBelowCelsius } = memory.plan;
  const [free, frost] = [passedOf(day.free, day, now), passedOf(day.frost, day, now)];
  const inTime = (times: readonly number[]) => times.filter((time) => now - momentOf(day, time) <= lateAtMost).length;
  const left = Math.max(0, day.portionsMax - memory.day.given);
  const isFrost = frostBelowCelsius !== null && air !== null && air < frostBelowCelsius;
  const portions =
    Math.min(portionsEach * inTime(day.free.slice(memory.day.free, free)), left) +
    (isFrost ? inTime(day.frost.slice(memory.day.frost, frost)) : 0);
  return { memory: { ...memory, day: { ...memory.day, free, frost } }, portions };
}

/** When free food is due next; null where none is planned any more. */
export function nextFreeFoodAt({ plan, givenUntil }: PlanMemory): Instant | null {
  const times = plan.days.flatMap((day) => [...day.free, ...day.frost].map((time) => momentOf(day, time)));
  const next = Math.min(...times.filter((time) => time > givenUntil));
  return Number.isFinite(next) ? instant(next) : null;
}

/** Whether this act earns a portion. Counts the act. @param at by the feeder's own clock @param now null: it doesn't know the time */
export function earnPortion(before: PlanMemory, kind: EarningKind, at: Instant, now: Instant | null) {
  const memory = now === null ? before : today(before, now);
  const rule = memory.plan[kind];
  const acts = memory.acts[kind];
  const isTooSoon = acts.paidAt !== null && rule !== null && at - acts.paidAt < 1_000 * rule.betweenSeconds;
  if (rule === null || isTooSoon) return { memory, earns: false };
  const counted = { ...acts, done: acts.done + 1 };
  const ratio = rule.ratios[acts.next % rule.ratios.length] ?? 1;
  const earns =
    counted.done >= ratio &&
    (!isRationGiven(memory, now) || (kind === "deposit" && memory.plan.paysDepositsOverRation));
  const after = earns ? { done: 0, next: acts.next + 1, paidAt: at } : counted;
  return { memory: { ...memory, acts: { ...memory.acts, [kind]: after } }, earns };
}

/** A portion has begun, of whatever cause: it uses up the ration. */
export function countPortion(before: PlanMemory, now: Instant | null): PlanMemory {
  const memory = now === null ? before : today(before, now);
  return memory.day === null ? memory : { ...memory, day: { ...memory.day, given: memory.day.given + 1 } };
}

/** After a power cut: its clock begins anew, and what was paid before is long enough ago. */
export const afterRestart = (memory: PlanMemory): PlanMemory => ({
  ...memory,
  acts: { press: { ...memory.acts.press, paidAt: null }, deposit: { ...memory.acts.deposit, paidAt: null } },
});

function isRationGiven({ plan, day }: PlanMemory, now: Instant | null): boolean {
  const planned = now === null ? null : dayAt(plan, now);
  return planned !== null && day !== null && day.given >= planned.portionsMax;
}

/** A new day begins with nothing given. */
function today(memory: PlanMemory, now: Instant): PlanMemory {
  const day = dayAt(memory.plan, now);
  if (day === null || day.from === memory.day?.from) return memory;
  return { ...memory, day: { from: day.from, given: 0, free: 0, frost: 0 } };
}

type SentDay = SentPlan["days"][number];

const dayAt = ({ days }: SentPlan, now: Instant): SentDay | null =>
  days.find(({ from, to }) => 1_000 * from <= now && now < 1_000 * to) ?? null;

const momentOf = ({ from }: SentDay, time: number): number => 1_000 * (from + time);

const passedOf = (times: readonly number[], day: SentDay, now: Instant): number =>
  times.filter((time) => momentOf(day, time) <= now).length;
