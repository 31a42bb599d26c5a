import { type EmptyPortions, emptyRunEvidence, learnEmptyRun } from "./emptyPortions.ts";

/**
 * How often a deposit gets no portion on this feeder while nothing is wrong. A board restarts between a cap and its portion, a program locks for
 * longer than most or has a ration for the day: no report says so, and such deposits come in runs. So they are learnt as empty portions are,
 * after a paid and after an unpaid one apart. What the feeder's own limits explain (ownLimits.ts) isn't counted here.
 */
export interface DepositAnswers {
  readonly unpaidDeposits: EmptyPortions; // `afterFood`: after a paid one, `afterEmpty`: after an unpaid one
  readonly depositsUnanswered: number; // in a row, up to now; not learnt from before it ends
}

/** What is assumed of a new feeder, with the weight of so many deposits. Our choice. */
export const initialDepositAnswers: DepositAnswers = {
  unpaidDeposits: { afterFood: { share: 0.01, portions: 100 }, afterEmpty: { share: 0.05, portions: 30 } },
  depositsUnanswered: 0,
};

/** So many come once a year at most by the feeder's own record, of twenty deposits a day. */
const unpaidEvidenceMin = Math.log(365 * 20);
/** A program that pays nothing for longer still teaches no more than this: it may have been broken. Our choice. */
const unpaidLearntMax = 10;

/** Before so many, and where more are unpaid than this, a feeder's record doesn't show that it pays each deposit. Our choices. */
const establishedMin = 20;
const establishedUnpaidMax = 0.1;

/** Whether this feeder's own record shows that it pays deposits, nearly all of them. */
export function paysDeposits({ unpaidDeposits: { afterFood, afterEmpty } }: DepositAnswers): boolean {
  const learnt = afterFood.portions - initialDepositAnswers.unpaidDeposits.afterFood.portions;
  const unpaidShare = afterFood.share / (afterFood.share + 1 - afterEmpty.share); // of a chain with these two probabilities
  return learnt >= establishedMin && unpaidShare <= establishedUnpaidMax;
}

export const areUnusuallyUnpaid = ({ unpaidDeposits, depositsUnanswered }: DepositAnswers): boolean =>
  emptyRunEvidence(unpaidDeposits, depositsUnanswered) >= unpaidEvidenceMin;

/** One was paid, after `unpaid` in a row that weren't; `stillUnpaid` came after it. */
export const countDeposit = (before: DepositAnswers, unpaid: number, stillUnpaid: number): DepositAnswers => ({
  unpaidDeposits: learnEmptyRun(before.unpaidDeposits, Math.min(unpaid, unpaidLearntMax)),
  depositsUnanswered: stillUnpaid,
});
