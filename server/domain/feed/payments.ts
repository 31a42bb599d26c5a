import { after, before, type Instant, minutes, type Span, seconds } from "../instant.ts";
import type { Deposit, Portion } from "../report.ts";
import type { Place } from "../settings.ts";
import { countDeposit, type DepositAnswers, initialDepositAnswers } from "./depositAnswers.ts";
import { actGapMin, isPaid, namedPaymentDelayMax, type OwedPortion, paidBy } from "./owedPortion.ts";
import {
  initialOwnLimits,
  type OwnLimit,
  type OwnLimits,
  ownLimitAt,
  updateOwnLimits,
  updateOwnLimitsByRefusal,
} from "./ownLimits.ts";
import {
  answersPresses,
  countPress,
  initialPressAnswers,
  isUnusualWithoutAnswer,
  type PressAnswers,
} from "./pressAnswers.ts";

/**
 * Which deposits and presses got their portion. A deposit that the detector doesn't report as metal is owed none; a press is
 * owed one only where presses normally get one, since a keeper may have ended that stage of training.
 */
export interface Payments extends PressAnswers, DepositAnswers {
  readonly owed: readonly OwedPortion[]; // oldest first, at most `owedRememberedMax`
  readonly unpaid: readonly OwedPortion[]; // judged, newest last, at most `unpaidRememberedMax`
  readonly earlyPayments: readonly EarlyPayment[]; // portions reported before what they pay, newest last
  readonly unpaidCount: number; // since the last one that was paid
  readonly lastPortionAt: Instant | null;
  readonly limits: OwnLimits;
  readonly refused: number; // since the last one that was paid: without portion, as the feeder's own program may have it
  readonly paysUnnamed: boolean; // its newest paying portion didn't say for what: one promised may come late and still be it
}

interface EarlyPayment {
  readonly seq: number;
  readonly at: Instant;
}

/** Motor run, retry and the feeder's own delay are over by then: a report sent this much later must hold the portion. */
const reportDelayMax = seconds(30);
const queuedReportDelayMax = (namedPaymentDelayMax + reportDelayMax) as Span;
/** What is reported later than this is only recorded: a notification would help no bird. */
const staleAfter = minutes(30);
/** Two trips of the detector closer than this are one cap. */
const sameDepositGapMax = seconds(2);
const owedRememberedMax = 16;
const unpaidRememberedMax = 4;

export const initialPayments: Payments = {
  owed: [],
  unpaid: [],
  earlyPayments: [],
  unpaidCount: 0,
  lastPortionAt: null,
  ...initialPressAnswers,
  ...initialDepositAnswers,
  limits: initialOwnLimits,
  refused: 0,
  paysUnnamed: false,
};

type ChangingPayments = { -readonly [name in keyof Payments]: Payments[name] };

/** Written out, not spread, as is all that runs for every event. */
const copyPayments = (payments: Payments): ChangingPayments => ({
  owed: payments.owed,
  unpaid: payments.unpaid,
  earlyPayments: payments.earlyPayments,
  unpaidCount: payments.unpaidCount,
  lastPortionAt: payments.lastPortionAt,
  pressesJudged: payments.pressesJudged,
  pressesAnsweredShare: payments.pressesAnsweredShare,
  pressesUnanswered: payments.pressesUnanswered,
  unpaidDeposits: payments.unpaidDeposits,
  depositsUnanswered: payments.depositsUnanswered,
  limits: payments.limits,
  refused: payments.refused,
  paysUnnamed: payments.paysUnnamed,
});

type DatedEvent = { readonly seq: number; readonly recordedAt: Instant };
type DatedAct = DatedEvent & { readonly earns?: boolean };

/** A deposit was made. `now`: when the server received it. While paused nothing is owed: the keeper decided so. */
export function updatePaymentsByDeposit(
  payments: Payments,
  deposit: Deposit & DatedEvent,
  now: Instant,
  paused: boolean,
  place: Place | null = null,
): Payments {
  if (deposit.metal === false || isOwedNothing(deposit, now, paused)) return payments;
  const last = payments.owed.findLast((owedPortion) => owedPortion.kind === "deposit");
  if (last && Math.abs(deposit.recordedAt - last.at) <= sameDepositGapMax) {
    const merged = {
      ...last,
      seq: Math.min(last.seq, deposit.seq),
      lastSeq: Math.max(last.lastSeq, deposit.seq),
    };
    return { ...payments, owed: payments.owed.map((owedPortion) => (owedPortion === last ? merged : owedPortion)) };
  }
  if (deposit.earns === undefined && isTooSoon(payments, deposit.recordedAt)) return payments;
  return addOwedPortion(
    payments,
    owedFor("deposit", deposit, now, ownLimitAt(payments.limits, deposit.recordedAt, place)),
  );
}

/** What the feeder says of its plan needs no guess: an act that earned nothing is owed nothing. */
const isOwedNothing = ({ recordedAt, earns }: DatedAct, now: Instant, paused: boolean): boolean =>
  paused || earns === false || now - recordedAt > staleAfter;

export function updatePaymentsByPress(
  payments: Payments,
  press: DatedAct,
  now: Instant,
  paused: boolean,
  place: Place | null = null,
): Payments {
  if (isOwedNothing(press, now, paused)) return payments;
  if (press.earns === undefined && isTooSoon(payments, press.recordedAt)) return payments;
  return addOwedPortion(payments, owedFor("press", press, now, ownLimitAt(payments.limits, press.recordedAt, place)));
}

/** No bird pressed since then: a button that chatters is owed nothing, and its presses prove no portion missing. */
export function withoutPresses(payments: Payments, since: Instant): Payments {
  const isBirds = ({ kind, at }: OwedPortion) => kind !== "press" || at < since;
  const { owed, unpaid } = payments;
  if (owed.every(isBirds) && unpaid.every(isBirds)) return payments;
  const unpaidByBirds = unpaid.filter(isBirds);
  return {
    ...payments,
    owed: owed.filter(isBirds),
    unpaid: unpaidByBirds,
    unpaidCount: Math.min(payments.unpaidCount, unpaidByBirds.length),
  };
}

/**
 * What happened during the run, or too soon after it, is owed nothing; but a portion is often reported only when its run has ended. Its time
 * should be the start of the run, and some programs state the end.
 */
function withoutActsDuring(
  payments: Payments,
  portion: Portion & { readonly recordedAt: Instant },
  paid: OwedPortion | undefined,
): Payments {
  const begins = before(portion.recordedAt, portion.motorRan ?? (0 as Span));
  const restEnds = after(portion.recordedAt, actGapMin);
  const wasTooSoon = (owedPortion: OwedPortion) =>
    owedPortion !== paid && !owedPortion.promised && owedPortion.at > begins && owedPortion.at < restEnds;
  return payments.owed.some(wasTooSoon)
    ? { ...payments, owed: payments.owed.filter((owedPortion) => !wasTooSoon(owedPortion)) }
    : payments;
}

/** After the last portion, or after what another one is owed for. */
function isTooSoon({ lastPortionAt, owed }: Payments, at: Instant): boolean {
  const restBegan = before(at, actGapMin);
  const isAfterPortion = lastPortionAt !== null && lastPortionAt > restBegan && lastPortionAt < at;
  return isAfterPortion || owed.some((owedPortion) => owedPortion.at > restBegan);
}

/** A portion was given. `fell`: whether food was seen to fall; null where no sensor can show it, which counts as paid. */
export function updatePaymentsByPortion(
  payments: Payments,
  portion: Portion & { readonly recordedAt: Instant },
  fell: boolean | null,
  place: Place | null = null,
): Payments {
  const dated = withPortionDated(payments, portion, place);
  if (portion.cause === "deposit" || portion.cause === "press") dated.paysUnnamed = portion.paysFor === null;
  const at = portion.recordedAt;
  const owedPortion = paidBy(portion, dated);
  const seen = withoutActsDuring(dated, portion, owedPortion);
  if (portion.paysFor === null && portion.cause !== "deposit" && portion.cause !== "press") return seen;

  if (owedPortion) return fell === false ? markEmptyPortion(seen, owedPortion) : settlePortion(seen, owedPortion);
  if (portion.paysFor === null || fell === false) return seen;
  return { ...seen, earlyPayments: [...seen.earlyPayments, { seq: portion.paysFor, at }].slice(-owedRememberedMax) };
}

function withPortionDated(
  payments: Payments,
  { recordedAt: at, cause }: Portion & { readonly recordedAt: Instant },
  place: Place | null,
): ChangingPayments {
  const lastPortionAt = payments.lastPortionAt === null || at > payments.lastPortionAt ? at : payments.lastPortionAt;
  const dated = copyPayments(payments);
  dated.lastPortionAt = lastPortionAt;
  if (cause !== "keeper" && cause !== "bench")
    dated.limits = updateOwnLimits(payments.limits, at, cause !== "timer", place);
  return dated;
}

/**
 * A portion was cut short: it pays nothing for certain, so a portion stays owed unless another one pays it within the usual
 * time. The start is stored for the text of the fault.
 */
export function updatePaymentsByCutShort(
  payments: Payments,
  portion: Portion & { readonly recordedAt: Instant },
): Payments {
  const at = portion.recordedAt;
  const lastPortionAt = payments.lastPortionAt === null || at > payments.lastPortionAt ? at : payments.lastPortionAt;
  const markIfPaid = (owedPortion: OwedPortion): OwedPortion =>
    isPaid(portion, owedPortion) ? { ...owedPortion, cutShort: true } : owedPortion;
  return {
    ...payments,
    lastPortionAt,
    owed: payments.owed.map(markIfPaid),
    unpaid: payments.unpaid.map(markIfPaid),
  };
}

/**
 * A report was processed, its events included. It proves a portion unpaid if it was sent well after the deposit, by a feeder
 * without events left to send, and isn't the report that contained the deposit.
 * `sentAt`: the feeder's time of sending; `spooled`: events still waiting there, null where it doesn't say.
 */
export function updatePaymentsByReport(
  payments: Payments,
  sentAt: Instant,
  spooled: number | null,
  paused: boolean,
  now: Instant,
): Payments {
  const current = withoutOldEarlyPayments(payments, now);
  if (current.owed.length === 0) return current;
  if (paused) return { ...current, owed: [] };
  if (spooled !== null && spooled > 0) return current;
  const isProven = ({ at, receivedAt, promised }: OwedPortion) => {
    const wait = promised && payments.paysUnnamed ? queuedReportDelayMax : reportDelayMax;
    return sentAt >= after(at, wait) && now >= after(receivedAt, reportDelayMax);
  };
  const due = current.owed.filter(isProven);
  if (due.length === 0) return current;
  const awaiting = current.owed.filter((owedPortion) => !isProven(owedPortion));
  return due.reduce(addUnpaidPortion, { ...current, owed: awaiting });
}

/** What they pay would have to be reported within `staleAfter`, or it is owed nothing. */
function withoutOldEarlyPayments(payments: Payments, now: Instant): Payments {
  const oldestAt = before(now, (staleAfter + namedPaymentDelayMax) as Span);
  const [oldest] = payments.earlyPayments;
  if (oldest === undefined || oldest.at >= oldestAt) return payments;
  return { ...payments, earlyPayments: payments.earlyPayments.filter(({ at }) => at >= oldestAt) };
}

/** Portions owed until now need no alarm: another alarm gave the reason. */
export const clearUnpaid = (payments: Payments): Payments => ({
  ...payments,
  unpaid: [],
  unpaidCount: 0,
  refused: 0,
  depositsUnanswered: 0,
});

const owedFor = (
  kind: OwedPortion["kind"],
  { seq, recordedAt, earns }: DatedAct,
  now: Instant,
  ownLimit: OwnLimit | null,
): OwedPortion => ({
  kind,
  seq,
  lastSeq: seq,
  at: recordedAt,
  receivedAt: now,
  portionWasEmpty: false,
  ...(earns === true ? { promised: true as const } : ownLimit !== null && { ownLimit }),
});

function addOwedPortion(payments: Payments, owedPortion: OwedPortion): Payments {
  const earlyPayment = payments.earlyPayments.find(
    (paid) => paid.seq === owedPortion.seq && Math.abs(paid.at - owedPortion.at) <= namedPaymentDelayMax,
  );
  if (earlyPayment)
    return settlePortion(
      { ...payments, earlyPayments: payments.earlyPayments.filter((paid) => paid !== earlyPayment) },
      owedPortion,
    );
  const updated = copyPayments(payments);
  updated.owed = [...payments.owed, owedPortion].slice(-owedRememberedMax);
  return updated;
}

function settlePortion(payments: Payments, owedPortion: OwedPortion): Payments {
  // What was found unpaid before this one was paid is over; what came after it stands.
  const unpaid =
    payments.unpaid.length === 0
      ? payments.unpaid
      : payments.unpaid.filter((other) => other !== owedPortion && other.at > owedPortion.at);
  const updated = copyPayments(payments);
  updated.owed = payments.owed.filter((other) => other !== owedPortion);
  updated.unpaid = unpaid;
  updated.unpaidCount = Math.min(unpaid.length, payments.unpaidCount);
  updated.refused = 0;
  if (owedPortion.kind === "press") return countPress(updated, true);
  const wereUnpaid = payments.depositsUnanswered - (payments.unpaid.includes(owedPortion) ? 1 : 0);
  const stillUnpaid = unpaid.filter(({ kind }) => kind === "deposit").length;
  const answers = countDeposit(payments, Math.max(wereUnpaid - stillUnpaid, 0), Math.min(stillUnpaid, wereUnpaid));
  updated.unpaidDeposits = answers.unpaidDeposits;
  updated.depositsUnanswered = answers.depositsUnanswered;
  return updated;
}

const markEmptyPortion = (payments: Payments, owedPortion: OwedPortion): Payments => {
  const markIfPaid = (other: OwedPortion) => (other === owedPortion ? { ...other, portionWasEmpty: true } : other);
  return { ...payments, owed: payments.owed.map(markIfPaid), unpaid: payments.unpaid.map(markIfPaid) };
};

function addUnpaidPortion(payments: Payments, owedPortion: OwedPortion): Payments {
  const { kind, portionWasEmpty, promised } = owedPortion;
  if (isRefusal(owedPortion)) return { ...payments, refused: payments.refused + 1 };
  const updated = kind === "press" ? countUnpaidPress(payments, owedPortion) : countUnpaid(payments, owedPortion);
  const mayBeMeant = kind === "press" && promised === undefined;
  if (mayBeMeant && !isUnusualWithoutAnswer(payments, portionWasEmpty ? null : updated.pressesUnanswered))
    return updated;
  return {
    ...updated,
    unpaid: [...updated.unpaid, owedPortion].slice(-unpaidRememberedMax),
    unpaidCount: Math.max(updated.unpaidCount + updated.refused + 1, kind === "press" ? updated.pressesUnanswered : 0),
    refused: 0,
  };
}

/** Where presses are answered as a rule, one that isn't may be the first after the day's ration. */
function countUnpaidPress(payments: Payments, { portionWasEmpty, cutShort, promised }: OwedPortion): Payments {
  const counted = countPress(payments, portionWasEmpty);
  const isRefused = !portionWasEmpty && cutShort === undefined && promised === undefined;
  return isRefused && answersPresses(payments)
    ? { ...counted, limits: updateOwnLimitsByRefusal(counted.limits) }
    : counted;
}

/** A portion that gave nothing is an answer all the same. */
function countUnpaid(payments: Payments, { portionWasEmpty, cutShort, promised }: OwedPortion): Payments {
  if (portionWasEmpty) return { ...payments, ...countDeposit(payments, payments.depositsUnanswered, 0) };
  const isRefused = cutShort === undefined && promised === undefined;
  return {
    ...payments,
    depositsUnanswered: payments.depositsUnanswered + 1,
    limits: isRefused ? updateOwnLimitsByRefusal(payments.limits) : payments.limits,
  };
}

/** The program may have meant it; a portion that was begun wasn't refused. */
const isRefusal = ({ ownLimit, portionWasEmpty, cutShort }: OwedPortion): boolean =>
  ownLimit !== undefined && !portionWasEmpty && cutShort === undefined;
