import type { Instant } from "../instant.ts";
import type { PaymentEvent, PaymentEvents } from "./depositPayments.ts";
import type { PauseSpans } from "./pauseSpans.ts";
import { initialRollups, type Rollups } from "./rollups.ts";
import { decodeRollup, encodeRollup } from "./rollupText.ts";

/** The open roll-ups of a feeder as they are stored beside its state: JSON values, short. */
export interface StoredRollups {
  readonly open: readonly (readonly [from: Instant, rollup: string])[];
  readonly payments: readonly StoredPayment[];
  readonly pauses: PauseSpans;
}

/**
 * As differences to the event before, which has the same boot where none is stored. What a portion pays lies so many numbers before it; true
 * marks a deposit for which the feeder promised one.
 */
type StoredPayment = readonly [boot: string | 0, seq: number, at: number, paysBefore?: number | null | true];

export const encodeRollups = ({ open, paymentEvents, pauses }: Rollups): StoredRollups => ({
  open: open.map(({ from, rollup }) => [from, encodeRollup(rollup)]),
  payments: paymentEvents.map((event, index) => encodePayment(event, paymentEvents[index - 1] ?? noEvent)),
  pauses,
});

const noEvent: PaymentEvent = { boot: "", seq: 0, at: 0 as Instant };

function encodePayment({ boot, seq, at, paysFor, promised }: PaymentEvent, before: PaymentEvent): StoredPayment {
  const shared = [boot === before.boot ? 0 : boot, seq - before.seq, at - before.at] as const;
  if (promised) return [...shared, true];
  if (paysFor === undefined) return shared;
  return [...shared, paysFor === null ? null : seq - paysFor];
}

/**
 * The inverse of `encodeRollups`. A state that was stored before there were roll-ups has none.
 * @throws RangeError, TypeError for anything else
 */
export function decodeRollups(stored: StoredRollups | undefined): Rollups {
  if (stored === undefined) return initialRollups();
  return {
    open: stored.open.map(([from, rollup]) => ({ from, rollup: decodeRollup(rollup) })),
    paymentEvents: decodePayments(stored.payments),
    pauses: stored.pauses,
  };
}

function decodePayments(stored: StoredRollups["payments"]): PaymentEvents {
  const events: PaymentEvent[] = [];
  let before = noEvent;
  for (const [boot, seqs, span, paysBefore] of stored) {
    const seq = before.seq + seqs;
    const shared = { boot: boot === 0 ? before.boot : boot, seq, at: (before.at + span) as Instant };
    if (paysBefore === true) before = { ...shared, promised: true };
    else if (paysBefore === undefined) before = shared;
    else before = { ...shared, paysFor: paysBefore === null ? null : seq - paysBefore };
    events.push(before);
  }
  return events;
}
