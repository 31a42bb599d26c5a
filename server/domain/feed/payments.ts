import type { Evidence, Fault } from "../faults.ts";
import { after, before, type Instant, minutes, type Span, seconds } from "../instant.ts";
import { moved } from "../movingMean.ts";
import type { Deposit, Portion } from "../report.ts";

/**
 * The promise itself: who drops a cap is paid. A deposit that the detector doesn't call metal is not owed; a press is
 * owed only where presses are normally answered, since a keeper may have ended that stage.
 */
export interface Payments {
  readonly awaiting: readonly Debt[]; // oldest first, at most `debtsRemembered`
  readonly unpaid: readonly Debt[]; // judged, newest last, at most `unpaidRemembered`
  readonly early: readonly Paid[]; // payments told before what they pay, newest last
  readonly unpaidCount: number; // since the last one that was paid
  readonly lastPortionAt: Instant | null;
  readonly pressesJudged: number; // at most `pressesNeeded` is of interest
  readonly pressesAnswered: number; // share, exponentially forgotten
}

export interface Debt {
  readonly kind: "deposit" | "press";
  readonly seq: number;
  readonly lastSeq: number; // one cap may trip the detector twice: all of these are one deposit
  readonly at: Instant;
  readonly heardAt: Instant; // by our clock
  readonly droppedNothing: boolean; // a portion answered it, but nothing fell
  readonly cutShort?: true; // a portion answered it, and was cut short; left out else
}

interface Paid {
  readonly seq: number;
  readonly at: Instant;
}

/**
 * A reward that comes seconds late teaches little (Lattal 2010), so a portion that doesn't say what it pays is taken for
 * a payment only within ten seconds.
 */
const payWithin = seconds(10);
/** Times of two reports may be off against each other by as long as either was under way. */
const clockSlack = seconds(3);
/** A portion that names what it pays counts as payment however slow it was; slowness is judged elsewhere. */
const namedPayWithin = minutes(2);
/** Motor run, retry and the feeder's own delay are over by then: a report sent this much later must hold the portion. */
const toldWithin = seconds(30);
/** What is told later than this is history: it belongs in the record, and waking a keeper for it helps no bird. */
const staleAfter = minutes(30);
/** Two trips of the detector closer than this are one cap. */
const sameDepositWithin = seconds(2);
/** A press so soon after a portion or another press is a bird's hammering; feeders ignore it. */
const pressRest = seconds(30);
const pressesNeeded = 10;
const pressesAnsweredMin = 0.9;
const debtsRemembered = 16;
const unpaidRemembered = 4;

export const nothingOwed: Payments = {
  awaiting: [],
  unpaid: [],
  early: [],
  unpaidCount: 0,
  lastPortionAt: null,
  pressesJudged: 0,
  pressesAnswered: 0,
};

type Timed = { readonly seq: number; readonly recordedAt: Instant };

/** A deposit was made. `now`: when we heard of it. While paused nothing is owed: the keeper said so. */
export function depositMade(payments: Payments, deposit: Deposit & Timed, now: Instant, paused: boolean): Payments {
  if (deposit.metal === false || paused || now - deposit.recordedAt > staleAfter) return payments;
  const last = payments.awaiting.findLast((debt) => debt.kind === "deposit");
  if (last && Math.abs(deposit.recordedAt - last.at) <= sameDepositWithin) {
    const merged = {
      ...last,
      seq: Math.min(last.seq, deposit.seq),
      lastSeq: Math.max(last.lastSeq, deposit.seq),
    };
    return { ...payments, awaiting: payments.awaiting.map((debt) => (debt === last ? merged : debt)) };
  }
  return owed(payments, "deposit", deposit, now);
}

export function pressMade(payments: Payments, press: Timed, now: Instant, paused: boolean): Payments {
  const at = press.recordedAt;
  if (paused || now - at > staleAfter) return payments;
  const restBegan = before(at, pressRest);
  if (payments.lastPortionAt !== null && payments.lastPortionAt > restBegan) return payments;
  if (payments.awaiting.some((debt) => debt.at > restBegan)) return payments;
  return owed(payments, "press", press, now);
}

/** A portion was given. `fell`: whether food was seen to fall; null where no sensor could tell, which counts as paid. */
export function portionGiven(
  payments: Payments,
  portion: Portion & { readonly recordedAt: Instant },
  fell: boolean | null,
): Payments {
  const at = portion.recordedAt;
  const lastPortionAt = payments.lastPortionAt === null || at > payments.lastPortionAt ? at : payments.lastPortionAt;
  const seen = lastPortionAt === payments.lastPortionAt ? payments : { ...payments, lastPortionAt };
  if (portion.paysFor === null && portion.cause !== "deposit" && portion.cause !== "press") return seen;

  const pays = (debt: Debt) => (portion.paysFor === null ? paysUnnamed(portion, debt) : paysNamed(portion, debt));
  const debt = seen.awaiting.find(pays) ?? seen.unpaid.find(pays);
  if (debt) return fell === false ? answeredEmpty(seen, debt) : settled(seen, debt);
  if (portion.paysFor === null || fell === false) return seen;
  return { ...seen, early: [...seen.early, { seq: portion.paysFor, at }].slice(-debtsRemembered) };
}

/**
 * A portion was cut short: it pays nothing for sure, so the debt stays and goes unpaid unless another portion pays it within
 * the usual time. That it was begun is remembered for the words of the fault.
 */
export function answeredInPart(payments: Payments, portion: Portion & { readonly recordedAt: Instant }): Payments {
  const at = portion.recordedAt;
  const lastPortionAt = payments.lastPortionAt === null || at > payments.lastPortionAt ? at : payments.lastPortionAt;
  const pays = (debt: Debt) => (portion.paysFor === null ? paysUnnamed(portion, debt) : paysNamed(portion, debt));
  const marked = (debt: Debt): Debt => (pays(debt) ? { ...debt, cutShort: true } : debt);
  return {
    ...payments,
    lastPortionAt,
    awaiting: payments.awaiting.map(marked),
    unpaid: payments.unpaid.map(marked),
  };
}

/**
 * A report was heard whole, its events included. It proves a debt unpaid if it was sent well after the deposit, by a
 * feeder that has nothing left to tell, and isn't the report that told of the deposit.
 * `sentAt`: the feeder's time of sending; `spooled`: events still waiting there, null where it doesn't say.
 */
export function reportRead(
  payments: Payments,
  sentAt: Instant,
  spooled: number | null,
  paused: boolean,
  now: Instant,
): Payments {
  if (payments.awaiting.length === 0) return payments;
  if (paused) return { ...payments, awaiting: [] };
  if (spooled !== null && spooled > 0) return payments;
  const proven = (debt: Debt) => sentAt >= after(debt.at, toldWithin) && now >= after(debt.heardAt, toldWithin);
  const due = payments.awaiting.filter(proven);
  if (due.length === 0) return payments;
  const awaiting = payments.awaiting.filter((debt) => !proven(debt));
  return due.reduce(judgedUnpaid, { ...payments, awaiting });
}

/**
 * `stopped`: the feed's own tests have found that nothing falls. A healthy chute sensor misses a portion in fifty, and a
 * hundred portions are given a day: that "the motor ran but nothing was seen to fall" for one deposit is no broken promise
 * yet. If nothing falls indeed, the feed says so within a few portions, and names the cause. A deposit that got no portion
 * at all is unpaid at once. `paused`: the feeder is paused just now, so nobody is waiting for anything.
 */
export function paymentFaults(payments: Payments, stopped: boolean, now: Instant, paused: boolean): readonly Fault[] {
  const unpaid = stopped ? payments.unpaid : payments.unpaid.filter((debt) => !debt.droppedNothing);
  const newest = unpaid.at(-1);
  if (paused || !newest || now - newest.at > unpaidStandsFor) return [];
  const what = newest.kind === "deposit" ? "deposit" : "press";
  const how = newest.droppedNothing
    ? "the motor ran, but no food was seen to fall"
    : newest.cutShort
      ? "its portion was cut short, and no other was given for it"
      : "no portion was given for it";
  const count = unpaid.length === payments.unpaid.length ? payments.unpaidCount : unpaid.length;
  const more = count > 1 ? ` It is the last of ${count} in a row.` : "";
  const evidence: Evidence[] = unpaid.map((debt) => ({
    what: `${debt.kind} ${debt.seq}`,
    value: debt.droppedNothing ? "answered, nothing fell" : debt.cutShort ? "portion cut short" : "no portion",
    at: debt.at,
  }));
  return [{ kind: "depositUnpaid", reason: `A ${what} was not paid: ${how}.${more}`, evidence, sure: null }];
}

/** What was owed until now needs no more telling: another alarm has told why it couldn't be paid. */
export const debtsForgiven = (payments: Payments): Payments => ({ ...payments, unpaid: [], unpaidCount: 0 });

/** A broken promise is told until one is kept again, and no longer than a day. */
const unpaidStandsFor = minutes(24 * 60);

function owed(payments: Payments, kind: Debt["kind"], event: Timed, now: Instant): Payments {
  const at = event.recordedAt;
  const debt: Debt = { kind, seq: event.seq, lastSeq: event.seq, at, heardAt: now, droppedNothing: false };
  const early = payments.early.find((paid) => paid.seq === debt.seq && Math.abs(paid.at - at) <= namedPayWithin);
  if (early) return settled({ ...payments, early: payments.early.filter((paid) => paid !== early) }, debt);
  return { ...payments, awaiting: [...payments.awaiting, debt].slice(-debtsRemembered) };
}

const paysNamed = (portion: Portion & { readonly recordedAt: Instant }, debt: Debt) =>
  portion.paysFor !== null &&
  portion.paysFor >= debt.seq &&
  portion.paysFor <= debt.lastSeq &&
  Math.abs(portion.recordedAt - debt.at) <= namedPayWithin; // seq begins anew at each boot: the time must fit too

const paysUnnamed = (portion: Portion & { readonly recordedAt: Instant }, debt: Debt) =>
  portion.cause === debt.kind &&
  portion.recordedAt >= before(debt.at, clockSlack) &&
  portion.recordedAt <= after(debt.at, (payWithin + clockSlack) as Span);

function settled(payments: Payments, debt: Debt): Payments {
  // What was found unpaid before this one was paid is over; what came after it stands.
  const unpaid =
    payments.unpaid.length === 0
      ? payments.unpaid
      : payments.unpaid.filter((other) => other !== debt && other.at > debt.at);
  // Written out, not spread: it runs for every payment.
  const counted: Payments = {
    awaiting: payments.awaiting.filter((other) => other !== debt),
    unpaid,
    early: payments.early,
    unpaidCount: Math.min(unpaid.length, payments.unpaidCount),
    lastPortionAt: payments.lastPortionAt,
    pressesJudged: payments.pressesJudged,
    pressesAnswered: payments.pressesAnswered,
  };
  return debt.kind === "press" ? pressCounted(counted, true) : counted;
}

const answeredEmpty = (payments: Payments, debt: Debt): Payments => {
  const marked = (other: Debt) => (other === debt ? { ...other, droppedNothing: true } : other);
  return { ...payments, awaiting: payments.awaiting.map(marked), unpaid: payments.unpaid.map(marked) };
};

function judgedUnpaid(payments: Payments, debt: Debt): Payments {
  const normallyAnswered = payments.pressesJudged >= pressesNeeded && payments.pressesAnswered >= pressesAnsweredMin;
  const counted = debt.kind === "press" ? pressCounted(payments, debt.droppedNothing) : payments;
  if (debt.kind === "press" && !normallyAnswered) return counted;
  return {
    ...counted,
    unpaid: [...counted.unpaid, debt].slice(-unpaidRemembered),
    unpaidCount: counted.unpaidCount + 1,
  };
}

function pressCounted(payments: Payments, answered: boolean): Payments {
  const pressesJudged = Math.min(payments.pressesJudged + 1, pressesNeeded);
  const gain = Math.max(1 / pressesJudged, 0.05);
  const pressesAnswered = moved(payments.pressesAnswered, answered ? 1 : 0, gain);
  return { ...payments, pressesJudged, pressesAnswered };
}
