import { type Instant, minutes, type Span, seconds } from "../instant.ts";
import { localTimeOf } from "../localTime.ts";
import { type DigestFeeder, nameOf } from "./digestFeeder.ts";
import { groupLines } from "./limitLines.ts";
import type { PayEvent as PaymentEvent } from "./payEvent.ts";
import { medianOf } from "./usualWeek.ts";

export interface PaymentSummary {
  readonly deposits: number; // owed ones; two trips of the detector by one cap are one
  readonly notOwed: number;
  readonly unpaid: readonly Instant[];
  readonly medianDelay: Span | null; // from deposit to portion; null where none was paid
}

/** The same rules as feed/payments.ts, which judges while it happens; this one looks back on a whole day. */
const sameDepositWithin = seconds(2);
const unnamedPaymentWithin = seconds(10);
export const namedPaymentWithin = minutes(2);

/** `events` by their time. */
export function paymentSummary(events: readonly PaymentEvent[]): PaymentSummary {
  const debts: { readonly of: Set<string>; readonly at: Instant; paidAfter: number | null; last: Instant }[] = [];
  let notOwed = 0;
  for (const event of events) {
    if (event.kind === "deposit") {
      const last = debts.at(-1);
      if (!event.owed) notOwed += 1;
      else if (last !== undefined && event.at - last.last <= sameDepositWithin) {
        last.of.add(event.of);
        last.last = event.at;
      } else debts.push({ of: new Set([event.of]), at: event.at, paidAfter: null, last: event.at });
      continue;
    }
    if (!event.fell || (event.paysFor === null && !event.forDeposit)) continue;
    const { at, paysFor } = event;
    const paid = debts.find((debt) =>
      paysFor === null
        ? debt.paidAfter === null && at - debt.at <= unnamedPaymentWithin
        : debt.paidAfter === null && debt.of.has(paysFor) && at - debt.at <= namedPaymentWithin,
    );
    if (paid !== undefined) paid.paidAfter = at - paid.at;
  }
  const paid = debts.flatMap(({ paidAfter }) => (paidAfter === null ? [] : [Math.max(0, paidAfter)]));
  return {
    deposits: debts.length,
    notOwed,
    unpaid: debts.filter(({ paidAfter }) => paidAfter === null).map(({ at }) => at),
    medianDelay: paid.length === 0 ? null : (medianOf(paid) as Span),
  };
}

/** Nothing where no feeder has a detector: whoever doesn't take deposits doesn't miss a word on them. */
export function paymentLines(feeders: readonly DigestFeeder[], zone: string): readonly string[] {
  const taking = feeders.filter(
    ({ state, paymentEvents }) => state.settings.sensors.detector || (paymentEvents?.length ?? 0) > 0,
  );
  return groupLines(taking.map((feeder) => ({ name: nameOf(feeder), text: paymentText(feeder, zone) })));
}

function paymentText({ paymentEvents }: DigestFeeder, zone: string): string {
  if (paymentEvents === null) return "more deposits and portions than can be told one by one.";
  const { deposits, notOwed, unpaid, medianDelay } = paymentSummary(paymentEvents);
  const beside =
    notOwed === 0 ? "" : ` ${notOwed} more ${notOwed === 1 ? "was" : "were"} not owed: no metal, or paused.`;
  if (deposits === 0) return `no deposit yesterday.${beside}`;
  const many = deposits === 1 ? "1 deposit" : `${deposits} deposits`;
  const soon =
    medianDelay === null
      ? ""
      : `, ${deposits - unpaid.length === 1 ? "" : "half of them "}within ${secondsText(medianDelay)}`;
  if (unpaid.length === 0) return `${many}, ${deposits === 1 ? "paid" : "all paid"}${soon}.${beside}`;
  const when = unpaid.slice(0, 2).map((at) => localTimeOf(at, zone));
  const others = unpaid.length > when.length ? ` and ${unpaid.length - when.length} more` : "";
  const which = ` (${when.join(", ")}${others})`;
  if (unpaid.length === deposits)
    return `not paid: ${deposits === 1 ? "the one deposit" : `all ${many}`}${which}.${beside}`;
  return `not paid: ${unpaid.length} of ${many}${which}. The others paid${soon}.${beside}`;
}

const secondsText = (span: Span): string => {
  const whole = Math.max(1, Math.ceil(span / 1_000));
  return whole === 1 ? "a second" : `${whole} seconds`;
};
