import { after, earlier, type Instant, type Span, seconds } from "../instant.ts";
import type { DatedMoment, GivenFood, OrdersState } from "./order.ts";

/**
 * A report's moments are counted back from its arrival, so a delayed report dates them too late. A later report of the same start
 * with a shorter delay shows when the feeder really started: the moments of the delayed one are moved back by the difference,
 * or food given after a confirmation would seem to come before it.
 */
export function redateOrders(orders: OrdersState, startedAt: Instant): OrdersState {
  const { newest, lastStatement, lastFood, revertedPause, answerDatedBy } = orders;
  const lateAnswer = latenessOf({ datedBy: answerDatedBy }, startedAt);
  return {
    ...orders,
    ...(newest?.answeredAt != null &&
      lateAnswer > 0 && {
        newest: { ...newest, answeredAt: after(newest.answeredAt, -lateAnswer as Span) },
        answerDatedBy: startedAt,
      }),
    lastStatement: lastStatement && moveBack(lastStatement, startedAt),
    ...(lastFood && { lastFood: moveFoodBack(lastFood, startedAt) }),
    ...(revertedPause?.lastPortion && {
      revertedPause: { ...revertedPause, lastPortion: moveFoodBack(revertedPause.lastPortion, startedAt) },
    }),
  };
}

/** The start by which a moment was dated: the newest report's, where the moment lies in the present start. */
export const datedBy = ({ lastStart }: OrdersState, at: Instant): { readonly datedBy?: Instant } =>
  lastStart === undefined || at < lastStart.at ? {} : { datedBy: lastStart.byNewestReport };

/** The start by all of its reports: the one with the shortest delay is nearest to it. */
export const earlierStart = (known: Instant, byReport: Instant): Instant => earlier(known, byReport);

function moveBack<Moment extends DatedMoment>(moment: Moment, startedAt: Instant): Moment {
  const late = latenessOf(moment, startedAt);
  return late === 0 ? moment : { ...moment, at: after(moment.at, -late as Span), datedBy: startedAt };
}

function moveFoodBack(food: GivenFood, startedAt: Instant): GivenFood {
  const late = latenessOf(food, startedAt);
  return { ...moveBack(food, startedAt), motorStartedAt: after(food.motorStartedAt, -late as Span) };
}

/** Clocks differ by less than this between two reports; a larger difference is a delay. Our choice. */
const clockTolerance = seconds(1);

function latenessOf({ datedBy }: { readonly datedBy?: Instant | undefined }, startedAt: Instant): Span {
  const late = datedBy === undefined ? 0 : datedBy - startedAt;
  return (late > clockTolerance ? late : 0) as Span;
}
