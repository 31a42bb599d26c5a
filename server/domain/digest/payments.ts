import { timeUnitText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import { type OwnLimit, ownLimitsOfDay } from "../feed/ownLimits.ts";
import { type Instant, minutes, type Span, seconds } from "../instant.ts";
import { localTimeOf } from "../localTime.ts";
import { type DigestFeeder, nameOf } from "./digestFeeder.ts";
import { groupLines } from "./limitLines.ts";
import type { PaymentEvent } from "./paymentEvent.ts";
import { medianOf } from "./usualWeek.ts";

export interface PaymentSummary {
  readonly deposits: number; // those that expect a portion; two detections of one cap count once
  readonly notCounted: number;
  readonly unpaid: readonly UnpaidDeposit[];
  readonly medianDelay: Span | null; // from deposit to portion; null where none got one
}

export interface UnpaidDeposit {
  readonly at: Instant;
  readonly gotEmptyPortion: boolean; // the motor ran for it, but nothing was seen to fall
}

/** The same rules as feed/payments.ts, which runs on each event; this one is for a whole day. */
const sameDepositWithin = seconds(2);
const unnamedPaymentWithin = seconds(10);
export const namedPaymentWithin = minutes(2);

/** `events` in order of time. */
export function paymentSummary(events: readonly PaymentEvent[]): PaymentSummary {
  const debts: Debt[] = [];
  let notOwed = 0;
  for (const event of events) {
    if (event.kind === "deposit") {
      const last = debts.at(-1);
      if (!event.expectsPortion) notOwed += 1;
      else if (last !== undefined && event.at - last.last <= sameDepositWithin) {
        last.of.add(event.of);
        last.last = event.at;
      } else debts.push(debtFor(event));
      continue;
    }
    if (event.paysFor === null && !event.forDeposit) continue;
    const fitting = debts.filter((one) => isAnsweredBy(one, event));
    const debt = fitting.find(({ gotEmpty }) => !gotEmpty) ?? fitting[0];
    if (debt === undefined) continue;
    if (event.fell) debt.paidAfter = event.at - debt.at;
    else debt.gotEmpty = true;
  }
  const paid = debts.flatMap(({ paidAfter }) => (paidAfter === null ? [] : [Math.max(0, paidAfter)]));
  return {
    deposits: debts.length,
    notCounted: notOwed,
    unpaid: debts
      .filter(({ paidAfter }) => paidAfter === null)
      .map(({ at, gotEmpty }) => ({ at, gotEmptyPortion: gotEmpty })),
    medianDelay: paid.length === 0 ? null : (medianOf(paid) as Span),
  };
}

interface Debt {
  readonly of: Set<string>;
  readonly at: Instant;
  readonly isPromised: boolean;
  paidAfter: number | null;
  last: Instant;
  gotEmpty: boolean;
}

const debtFor = ({ of, at, isPromised }: DepositEvent): Debt => ({
  ...{ of: new Set([of]), at, isPromised, last: at },
  ...{ paidAfter: null, gotEmpty: false },
});

type DepositEvent = Extract<PaymentEvent, { kind: "deposit" }>;
type PortionEvent = Extract<PaymentEvent, { kind: "portion" }>;

const isAnsweredBy = (debt: Debt, { at, paysFor }: PortionEvent): boolean =>
  debt.paidAfter === null &&
  (paysFor === null
    ? at - debt.at <= (debt.isPromised && !debt.gotEmpty ? namedPaymentWithin : unnamedPaymentWithin)
    : debt.of.has(paysFor) && at - debt.at <= namedPaymentWithin);

/** Empty where no feeder has a detector: deposits don't matter there. */
export function paymentLines(feeders: readonly DigestFeeder[], zone: string): readonly string[] {
  const taking = feeders.filter(
    ({ state, paymentEvents }) => state.settings.sensors.detector || (paymentEvents?.length ?? 0) > 0,
  );
  return groupLines(taking.map((feeder) => ({ name: nameOf(feeder), text: paymentText(feeder, zone) })));
}

function paymentText({ paymentEvents, state }: DigestFeeder, zone: string): string {
  const text = texts.digest.payments;
  if (paymentEvents === null) return text.tooMany;
  const summary = paymentSummary(paymentEvents);
  const notCounted = summary.notCounted === 0 ? [] : [text.notCounted(summary.notCounted)];
  return [paidText(summary, zone), ...refusedText(refusalsOf(summary, paymentEvents, state)), ...notCounted].join(" ");
}

/** The feeder's own rule that may be why a deposit got no portion, for each that has one; a portion that was begun wasn't refused. */
function refusalsOf(
  { unpaid }: PaymentSummary,
  events: readonly PaymentEvent[],
  { feed, settings }: DigestFeeder["state"],
): readonly OwnLimit[] {
  const given = events.filter((event) => event.kind === "portion" && !event.isOrdered).map(({ at }) => at);
  const unanswered = unpaid.filter(({ gotEmptyPortion }) => !gotEmptyPortion).map(({ at }) => at);
  return ownLimitsOfDay(feed.payments.limits, given, unanswered, settings.place).filter((limit) => limit !== null);
}

function refusedText(refusals: readonly OwnLimit[]): readonly string[] {
  const { lists, digest } = texts;
  const text = digest.payments;
  if (refusals.length === 0) return [];
  const rules = [...new Set(refusals)].map((rule) => text.rules[rule]);
  const [last = ""] = rules.slice(-1);
  return [text.refused(refusals.length, rules.length === 1 ? last : lists.and(rules.slice(0, -1).join(", "), last))];
}

function paidText(summary: PaymentSummary, zone: string): string {
  const text = texts.digest.payments;
  const { deposits, unpaid } = summary;
  if (deposits === 0) return text.none;
  if (unpaid.length === 0) return text.allPaid(deposits, delayText(summary));
  const times = timesText(
    unpaid.map(({ at }) => at),
    zone,
  );
  if (unpaid.length < deposits) return text.someUnpaid(unpaid.length, deposits, times, delayText(summary));
  return text.allUnpaid(deposits, times);
}

/** Half of several deposits were quicker than the median. */
function delayText({ deposits, unpaid, medianDelay }: PaymentSummary): string {
  if (medianDelay === null) return "";
  const text = texts.digest.payments;
  return (deposits - unpaid.length === 1 ? text.within : text.halfWithin)(secondsText(medianDelay));
}

function timesText(moments: readonly Instant[], zone: string): string {
  const times = moments.slice(0, 2).map((at) => localTimeOf(at, zone));
  return texts.lists.andMore(times.join(", "), moments.length - times.length);
}

const secondsText = (span: Span): string => {
  const whole = Math.max(1, Math.ceil(span / 1_000));
  return whole === 1 ? texts.digest.payments.aSecond : timeUnitText(whole, "second");
};
