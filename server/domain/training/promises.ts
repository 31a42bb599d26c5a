import type { Instant, Span } from "../instant.ts";
import { minutes, seconds } from "../instant.ts";
import { eventKey, type TrainingEvent } from "./trainingEvent.ts";

/** An act for which food was promised, and what became of it. */
export interface FoodPromise {
  readonly act: "press" | "deposit";
  readonly at: Instant;
  readonly key: string; // of the act's first event
  readonly outcome: PromiseOutcome;
  /** From the act to the start of the motor, at which its food falls; null where no portion was given. */
  readonly latency: Span | null;
  readonly portion: string | null; // key of the portion that was given for it
}

/**
 * `paid`: a portion was given, and nothing says that it was empty. `empty`: the motor ran for it, but no food was seen to fall. `cutShort`: its
 * portion was begun and not ended. `noPortion`: none was given.
 */
export type PromiseOutcome = "paid" | "empty" | "cutShort" | "noPortion";

export interface Ledger {
  readonly promises: readonly FoodPromise[]; // in order of time
  /** Food that no act had earned: free food of the plan, and by the keeper's hand. */
  readonly freePortions: readonly Instant[];
  /** Portions for a press or deposit that no event shows. */
  readonly unexplainedPortions: number;
  /** What the slot's detector saw and didn't take for a cap. */
  readonly rejectedDeposits: number;
  /** Acts that by the schedule earned nothing, and acts while the feeder was paused. */
  readonly notOwed: number;
}

export interface LedgerRules {
  /** Whether a press of which the feeder doesn't say what it earns is a promise: where each press is paid. */
  readonly pressesArePromises: boolean;
  isPaused(at: Instant): boolean;
}

/** Two detections of one cap; a portion that names nothing; one that names its act. The same limits as of the digest (digest/payments.ts). */
const sameDepositWithin = seconds(2);
const unnamedPaymentWithin = seconds(10);
const namedPaymentWithin = minutes(2);

/** @param events of one feeder, in order of time; a portion after the end of the day may belong to its last act */
export function ledgerOf(events: readonly TrainingEvent[], rules: LedgerRules): Ledger {
  const open: OpenLedger = {
    debts: [],
    freePortions: [],
    unexplainedPortions: 0,
    rejectedDeposits: 0,
    notOwed: 0,
  };
  for (const event of events) {
    if (event.kind === "press" || event.kind === "deposit") addAct(open, event, rules);
    else if (event.kind === "portion" && event.cause !== "bench") addPortion(open, event);
  }
  const { debts, ...counted } = open;
  return { promises: debts.map(promiseOf), ...counted };
}

interface OpenLedger {
  readonly debts: Debt[];
  readonly freePortions: Instant[];
  unexplainedPortions: number;
  rejectedDeposits: number;
  notOwed: number;
}

function addAct(open: OpenLedger, act: Act, rules: LedgerRules): void {
  if (act.kind === "deposit" && act.metal === false) open.rejectedDeposits += 1;
  else if (isOwed(act, rules)) addDebt(open.debts, act);
  else open.notOwed += 1;
}

function addPortion(open: OpenLedger, portion: PortionEvent): void {
  const isFree = portion.cause === "timer" || portion.cause === "keeper";
  const paysAnAct = !isFree && payDebt(open.debts, portion);
  if (paysAnAct || !hasFallen(portion)) return;
  if (isFree) open.freePortions.push(portion.recordedAt);
  else open.unexplainedPortions += 1;
}

type Act = TrainingEvent & { readonly kind: "press" | "deposit" };
type PortionEvent = TrainingEvent & { readonly kind: "portion" };

function isOwed(act: Act, { pressesArePromises, isPaused }: LedgerRules): boolean {
  if (act.earns !== undefined) return act.earns;
  if (isPaused(act.recordedAt)) return false;
  return act.kind === "deposit" || pressesArePromises;
}

interface Debt {
  readonly act: "press" | "deposit";
  readonly at: Instant;
  readonly isPromised: boolean; // by the feeder itself: its portion may wait in the feeder's own queue
  readonly keys: string[];
  lastDetection: Instant;
  portion: PortionEvent | null;
}

function addDebt(debts: Debt[], { kind, boot, seq, recordedAt, earns }: Act): void {
  const last = debts.findLast(({ act }) => act === kind);
  if (kind === "deposit" && last !== undefined && recordedAt - last.lastDetection <= sameDepositWithin) {
    last.keys.push(eventKey(boot, seq));
    last.lastDetection = recordedAt;
  } else {
    debts.push({
      act: kind,
      at: recordedAt,
      isPromised: earns === true,
      keys: [eventKey(boot, seq)],
      lastDetection: recordedAt,
      portion: null,
    });
  }
}

/** A portion pays the oldest act that waits for one, else one that got nothing: a failed one may be followed by another try. @returns whether there was one */
function payDebt(debts: readonly Debt[], portion: PortionEvent): boolean {
  const { boot, paysFor, cause, recordedAt } = portion;
  const named = paysFor === null ? null : eventKey(boot, paysFor);
  const fits = (one: Debt): boolean => {
    if (one.portion !== null && outcomeOf(one.portion) === "paid") return named !== null && one.keys.includes(named);
    const passed = recordedAt - one.at;
    return named === null
      ? one.act === cause && passed >= 0 && passed <= unnamedWithin(one)
      : one.keys.includes(named) && passed <= namedPaymentWithin;
  };
  const debt = debts.find((one) => one.portion === null && fits(one)) ?? debts.find(fits);
  if (debt === undefined) return false;
  if (debt.portion === null || outcomeOf(debt.portion) !== "paid") debt.portion = portion;
  return true;
}

/** One that was answered, but got nothing, waits no longer than others: or it would take the next act's portion. */
const unnamedWithin = ({ isPromised, portion }: Debt): Span =>
  isPromised && portion === null ? namedPaymentWithin : unnamedPaymentWithin;

const promiseOf = ({ act, at, keys, portion }: Debt): FoodPromise => ({
  ...{ act, at, key: keys[0] as string },
  outcome: portion === null ? "noPortion" : outcomeOf(portion),
  latency: portion === null ? null : (Math.max(0, portion.recordedAt - at) as Span),
  portion: portion === null ? null : eventKey(portion.boot, portion.seq),
});

function outcomeOf({ cutShort, motorRan, chuteCount }: PortionEvent): Exclude<PromiseOutcome, "noPortion"> {
  if (cutShort === true) return "cutShort";
  return motorRan === 0 || chuteCount === 0 ? "empty" : "paid";
}

const hasFallen = (portion: PortionEvent): boolean => outcomeOf(portion) !== "empty";
