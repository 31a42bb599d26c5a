import { texts } from "../../text/index.ts";
import type { Evidence, Fault } from "../faults.ts";
import { type Instant, minutes } from "../instant.ts";
import { areUnusuallyUnpaid, paysDeposits } from "./depositAnswers.ts";
import type { OwedPortion } from "./owedPortion.ts";
import { mayBeFirstRation } from "./ownLimits.ts";
import type { Payments } from "./payments.ts";
import { answersPresses } from "./pressAnswers.ts";

/**
 * `hasFoodStopped`: the feed's own tests have found that nothing falls. A healthy chute sensor misses a portion in fifty, and
 * a hundred portions are given a day: one deposit for which "the motor ran but no food fell" doesn't count as unpaid yet. If
 * nothing falls, the feed's tests find it within a few portions, with the cause. Deposits that got no portion at all are told once
 * there are more in a row than this feeder's record explains, and at once where the feeder itself said that it owes one. They are a
 * question, not a broken promise, as long as the feeder may have a rule of its own.
 * `paused`: the feeder is paused now, so nothing is owed.
 */
export function paymentFaults(
  payments: Payments,
  hasFoodStopped: boolean,
  now: Instant,
  paused: boolean,
): readonly Fault[] {
  const unpaid = hasFoodStopped ? payments.unpaid : payments.unpaid.filter(isToldAlone(payments));
  const newest = unpaid.at(-1);
  if (paused || !newest || now - newest.at > unpaidShownMax) return [];
  const count = unpaid.length === payments.unpaid.length ? payments.unpaidCount : unpaid.length;
  const more = count > 1 ? [texts.feed.unpaid.inARow(count)] : [];
  const evidence: Evidence[] = unpaid.map((owedPortion) => ({
    label: texts.feed.unpaid.label[owedPortion.kind](owedPortion.seq),
    value: texts.feed.unpaid.value[unpaidReason(owedPortion)],
    at: owedPortion.at,
  }));
  return [
    {
      kind: hasFoodStopped || isCertain(payments, unpaid) ? "depositUnpaid" : "paymentUnclear",
      reason: [texts.feed.unpaid[unpaidReason(newest)][newest.kind], ...more].join(" "),
      evidence,
      confidence: null,
    },
  ];
}

/**
 * Whether a promise was broken: the feeder itself had said that it owed one, began a portion for it, or pays nearly all by its record. A day with
 * more portions than any before may have reached a ration that nobody has told.
 */
function isCertain(payments: Payments, unpaid: readonly OwedPortion[]): boolean {
  if (unpaid.some(({ promised, cutShort }) => promised || cutShort)) return true;
  const paysEach = unpaid.at(-1)?.kind === "press" ? answersPresses(payments) : paysDeposits(payments);
  return paysEach && !mayBeFirstRation(payments.limits);
}

/** A press is listed only where so many without answer are unusual, or one was promised. */
const isToldAlone = (payments: Payments): ((owedPortion: OwedPortion) => boolean) => {
  const isUnusual = areUnusuallyUnpaid(payments);
  return ({ kind, portionWasEmpty, promised }) =>
    !portionWasEmpty && (kind === "press" || promised === true || isUnusual);
};

const unpaidReason = ({ portionWasEmpty, cutShort }: OwedPortion) =>
  portionWasEmpty ? "nothingFell" : cutShort ? "cutShort" : "noPortion";

/** An unpaid deposit is shown until one is paid again, and no longer than a day. */
const unpaidShownMax = minutes(24 * 60);
