import type { Evidence, Fault } from "../faults.ts";
import { after, before, type Instant, minutes, type Span, seconds } from "../instant.ts";
import { movingMean } from "../movingMean.ts";
import type { Deposit, Portion } from "../report.ts";

/**
 * The promise itself: who drops a cap is paid. A deposit that the detector doesn't call metal is not owed; a press is
 * owed only where presses are normally answered, since a keeper may have ended that stage.
 */
export interface Payments {
  readonly owed: readonly OwedPortion[]; // oldest first, at most `debtsRemembered`
  readonly unpaid: readonly OwedPortion[]; // judged, newest last, at most `unpaidRemembered`
  readonly earlyPayments: readonly EarlyPayment[]; // payments told before what they pay, newest last
  readonly unpaidCount: number; // since the last one that was paid
  readonly lastPortionAt: Instant | null;
  readonly pressesJudged: number; // at most `pressesNeeded` is of interest
  readonly pressesAnsweredShare: number; // share, exponentially forgotten
}

export interface OwedPortion {
  readonly kind: "deposit" | "press";
  readonly seq: number;
  readonly lastSeq: number; // one cap may trip the detector twice: all of these are one deposit
  readonly at: Instant;
  readonly receivedAt: Instant; // by our clock
  readonly portionWasEmpty: boolean; // a portion answered it, but nothing fell
  readonly cutShort?: true; // a portion answered it, and was cut short; left out else
}

interface EarlyPayment {
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
const reportedWithin = seconds(30);
/** What is told later than this is history: it belongs in the record, and waking a keeper for it helps no bird. */
const staleAfter = minutes(30);
/** Two trips of the detector closer than this are one cap. */
const sameDepositWithin = seconds(2);
/** A press so soon after a portion or another press is a bird's hammering; feeders ignore it. */
const pressRest = seconds(30);
const pressesNeeded = 10;
const pressesAnsweredMin = 0.9;
const owedRememberedMax = 16;
const unpaidRememberedMax = 4;

export const initialPayments: Payments = {
  owed: [],
  unpaid: [],
  earlyPayments: [],
  unpaidCount: 0,
  lastPortionAt: null,
  pressesJudged: 0,
  pressesAnsweredShare: 0,
};

type DatedEvent = { readonly seq: number; readonly recordedAt: Instant };

/** A deposit was made. `now`: when we heard of it. While paused nothing is owed: the keeper said so. */
export function updatePaymentsByDeposit(
  payments: Payments,
  deposit: Deposit & DatedEvent,
  now: Instant,
  paused: boolean,
): Payments {
  if (deposit.metal === false || paused || now - deposit.recordedAt > staleAfter) return payments;
  const last = payments.owed.findLast((debt) => debt.kind === "deposit");
  if (last && Math.abs(deposit.recordedAt - last.at) <= sameDepositWithin) {
    const merged = {
      ...last,
      seq: Math.min(last.seq, deposit.seq),
      lastSeq: Math.max(last.lastSeq, deposit.seq),
    };
    return { ...payments, owed: payments.owed.map((debt) => (debt === last ? merged : debt)) };
  }
  return addOwedPortion(payments, "deposit", deposit, now);
}

export function updatePaymentsByPress(payments: Payments, press: DatedEvent, now: Instant, paused: boolean): Payments {
  const at = press.recordedAt;
  if (paused || now - at > staleAfter) return payments;
  const restBegan = before(at, pressRest);
  if (payments.lastPortionAt !== null && payments.lastPortionAt > restBegan) return payments;
  if (payments.owed.some((debt) => debt.at > restBegan)) return payments;
  return addOwedPortion(payments, "press", press, now);
}

/** A portion was given. `fell`: whether food was seen to fall; null where no sensor could tell, which counts as paid. */
export function updatePaymentsByPortion(
  payments: Payments,
  portion: Portion & { readonly recordedAt: Instant },
  fell: boolean | null,
): Payments {
  const at = portion.recordedAt;
  const lastPortionAt = payments.lastPortionAt === null || at > payments.lastPortionAt ? at : payments.lastPortionAt;
  const seen = lastPortionAt === payments.lastPortionAt ? payments : { ...payments, lastPortionAt };
  if (portion.paysFor === null && portion.cause !== "deposit" && portion.cause !== "press") return seen;

  const pays = (debt: OwedPortion) =>
    portion.paysFor === null ? isPaidByTime(portion, debt) : isPaidByName(portion, debt);
  const debt = seen.owed.find(pays) ?? seen.unpaid.find(pays);
  if (debt) return fell === false ? markEmptyPortion(seen, debt) : settlePortion(seen, debt);
  if (portion.paysFor === null || fell === false) return seen;
  return { ...seen, earlyPayments: [...seen.earlyPayments, { seq: portion.paysFor, at }].slice(-owedRememberedMax) };
}

/**
 * A portion was cut short: it pays nothing for sure, so the debt stays and goes unpaid unless another portion pays it within
 * the usual time. That it was begun is remembered for the words of the fault.
 */
export function updatePaymentsByCutShort(
  payments: Payments,
  portion: Portion & { readonly recordedAt: Instant },
): Payments {
  const at = portion.recordedAt;
  const lastPortionAt = payments.lastPortionAt === null || at > payments.lastPortionAt ? at : payments.lastPortionAt;
  const pays = (debt: OwedPortion) =>
    portion.paysFor === null ? isPaidByTime(portion, debt) : isPaidByName(portion, debt);
  const marked = (debt: OwedPortion): OwedPortion => (pays(debt) ? { ...debt, cutShort: true } : debt);
  return {
    ...payments,
    lastPortionAt,
    owed: payments.owed.map(marked),
    unpaid: payments.unpaid.map(marked),
  };
}

/**
 * A report was heard whole, its events included. It proves a debt unpaid if it was sent well after the deposit, by a
 * feeder that has nothing left to tell, and isn't the report that told of the deposit.
 * `sentAt`: the feeder's time of sending; `spooled`: events still waiting there, null where it doesn't say.
 */
export function updatePaymentsByReport(
  payments: Payments,
  sentAt: Instant,
  spooled: number | null,
  paused: boolean,
  now: Instant,
): Payments {
  if (payments.owed.length === 0) return payments;
  if (paused) return { ...payments, owed: [] };
  if (spooled !== null && spooled > 0) return payments;
  const proven = (debt: OwedPortion) =>
    sentAt >= after(debt.at, reportedWithin) && now >= after(debt.receivedAt, reportedWithin);
  const due = payments.owed.filter(proven);
  if (due.length === 0) return payments;
  const awaiting = payments.owed.filter((debt) => !proven(debt));
  return due.reduce(addUnpaidPortion, { ...payments, owed: awaiting });
}

/**
 * `stopped`: the feed's own tests have found that nothing falls. A healthy chute sensor misses a portion in fifty, and a
 * hundred portions are given a day: that "the motor ran but nothing was seen to fall" for one deposit is no broken promise
 * yet. If nothing falls indeed, the feed says so within a few portions, and names the cause. A deposit that got no portion
 * at all is unpaid at once. `paused`: the feeder is paused just now, so nobody is waiting for anything.
 */
export function paymentFaults(payments: Payments, stopped: boolean, now: Instant, paused: boolean): readonly Fault[] {
  const unpaid = stopped ? payments.unpaid : payments.unpaid.filter((debt) => !debt.portionWasEmpty);
  const newest = unpaid.at(-1);
  if (paused || !newest || now - newest.at > unpaidStandsMax) return [];
  const what = newest.kind === "deposit" ? "deposit" : "press";
  const how = newest.portionWasEmpty
    ? "the motor ran, but no food was seen to fall"
    : newest.cutShort
      ? "its portion was cut short, and no other was given for it"
      : "no portion was given for it";
  const count = unpaid.length === payments.unpaid.length ? payments.unpaidCount : unpaid.length;
  const more = count > 1 ? ` It is the last of ${count} in a row.` : "";
  const evidence: Evidence[] = unpaid.map((debt) => ({
    label: `${debt.kind} ${debt.seq}`,
    value: debt.portionWasEmpty ? "answered, nothing fell" : debt.cutShort ? "portion cut short" : "no portion",
    at: debt.at,
  }));
  return [{ kind: "depositUnpaid", reason: `A ${what} was not paid: ${how}.${more}`, evidence, confidence: null }];
}

/** What was owed until now needs no more telling: another alarm has told why it couldn't be paid. */
export const clearUnpaid = (payments: Payments): Payments => ({ ...payments, unpaid: [], unpaidCount: 0 });

/** A broken promise is told until one is kept again, and no longer than a day. */
const unpaidStandsMax = minutes(24 * 60);

function addOwedPortion(payments: Payments, kind: OwedPortion["kind"], event: DatedEvent, now: Instant): Payments {
  const at = event.recordedAt;
  const debt: OwedPortion = { kind, seq: event.seq, lastSeq: event.seq, at, receivedAt: now, portionWasEmpty: false };
  const early = payments.earlyPayments.find(
    (paid) => paid.seq === debt.seq && Math.abs(paid.at - at) <= namedPayWithin,
  );
  if (early)
    return settlePortion({ ...payments, earlyPayments: payments.earlyPayments.filter((paid) => paid !== early) }, debt);
  return { ...payments, owed: [...payments.owed, debt].slice(-owedRememberedMax) };
}

const isPaidByName = (portion: Portion & { readonly recordedAt: Instant }, debt: OwedPortion) =>
  portion.paysFor !== null &&
  portion.paysFor >= debt.seq &&
  portion.paysFor <= debt.lastSeq &&
  Math.abs(portion.recordedAt - debt.at) <= namedPayWithin; // seq begins anew at each boot: the time must fit too

const isPaidByTime = (portion: Portion & { readonly recordedAt: Instant }, debt: OwedPortion) =>
  portion.cause === debt.kind &&
  portion.recordedAt >= before(debt.at, clockSlack) &&
  portion.recordedAt <= after(debt.at, (payWithin + clockSlack) as Span);

function settlePortion(payments: Payments, debt: OwedPortion): Payments {
  // What was found unpaid before this one was paid is over; what came after it stands.
  const unpaid =
    payments.unpaid.length === 0
      ? payments.unpaid
      : payments.unpaid.filter((other) => other !== debt && other.at > debt.at);
  // Written out, not spread: it runs for every payment.
  const counted: Payments = {
    owed: payments.owed.filter((other) => other !== debt),
    unpaid,
    earlyPayments: payments.earlyPayments,
    unpaidCount: Math.min(unpaid.length, payments.unpaidCount),
    lastPortionAt: payments.lastPortionAt,
    pressesJudged: payments.pressesJudged,
    pressesAnsweredShare: payments.pressesAnsweredShare,
  };
  return debt.kind === "press" ? countPress(counted, true) : counted;
}

const markEmptyPortion = (payments: Payments, debt: OwedPortion): Payments => {
  const marked = (other: OwedPortion) => (other === debt ? { ...other, portionWasEmpty: true } : other);
  return { ...payments, owed: payments.owed.map(marked), unpaid: payments.unpaid.map(marked) };
};

function addUnpaidPortion(payments: Payments, debt: OwedPortion): Payments {
  const normallyAnswered =
    payments.pressesJudged >= pressesNeeded && payments.pressesAnsweredShare >= pressesAnsweredMin;
  const counted = debt.kind === "press" ? countPress(payments, debt.portionWasEmpty) : payments;
  if (debt.kind === "press" && !normallyAnswered) return counted;
  return {
    ...counted,
    unpaid: [...counted.unpaid, debt].slice(-unpaidRememberedMax),
    unpaidCount: counted.unpaidCount + 1,
  };
}

function countPress(payments: Payments, answered: boolean): Payments {
  const pressesJudged = Math.min(payments.pressesJudged + 1, pressesNeeded);
  const gain = Math.max(1 / pressesJudged, 0.05);
  const pressesAnswered = movingMean(payments.pressesAnsweredShare, answered ? 1 : 0, gain);
  return { ...payments, pressesJudged, pressesAnsweredShare: pressesAnswered };
}
