import { after, earlier, type Instant, type Span, seconds } from "../instant.ts";
import type { DatedMoment, GivenFood, OrdersState } from "./order.ts";

/**
 * A report's moments are counted back from its arrival, so one that was held up on its way dates them too late. A later report
 * of the same start that came sooner shows when the feeder really started: what the held-up one told is moved back by as much,
 * or food given after a confirmation would look as if it came before.
 */
export function redateOrders(orders: OrdersState, startedAt: Instant): OrdersState {
  const { newest, feederSays, lastFood, undonePause, answerDatedBy } = orders;
  const lateAnswer = latenessOf({ datedBy: answerDatedBy }, startedAt);
  return {
    ...orders,
    ...(newest?.answeredAt != null &&
      lateAnswer > 0 && {
        newest: { ...newest, answeredAt: after(newest.answeredAt, -lateAnswer as Span) },
        answerDatedBy: startedAt,
      }),
    feederSays: feederSays && moveBack(feederSays, startedAt),
    ...(lastFood && { lastFood: moveFoodBack(lastFood, startedAt) }),
    ...(undonePause?.lastPortion && {
      undonePause: { ...undonePause, lastPortion: moveFoodBack(undonePause.lastPortion, startedAt) },
    }),
  };
}

/** With which start a moment was dated: the newest report's, as far as it lies in the start that lives. */
export const datedBy = ({ lastStart }: OrdersState, at: Instant): { readonly datedBy?: Instant } =>
  lastStart === undefined || at < lastStart.at ? {} : { datedBy: lastStart.byNewestReport };

/** The start by all of its reports: the one that was held up the least is nearest to it. */
export const earlierStart = (known: Instant, byReport: Instant): Instant => earlier(known, byReport);

function moveBack<Moment extends DatedMoment>(moment: Moment, startedAt: Instant): Moment {
  const late = latenessOf(moment, startedAt);
  return late === 0 ? moment : { ...moment, at: after(moment.at, -late as Span), datedBy: startedAt };
}

function moveFoodBack(food: GivenFood, startedAt: Instant): GivenFood {
  const late = latenessOf(food, startedAt);
  return { ...moveBack(food, startedAt), motorStartedAt: after(food.motorStartedAt, -late as Span) };
}

/** Clocks run apart by less than this between two reports; only what a line holds up is more. Our choice. */
const clockTolerance = seconds(1);

function latenessOf({ datedBy }: { readonly datedBy?: Instant | undefined }, startedAt: Instant): Span {
  const late = datedBy === undefined ? 0 : datedBy - startedAt;
  return (late > clockTolerance ? late : 0) as Span;
}
