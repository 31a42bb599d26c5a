import type { Instant } from "../instant.ts";
import type { PaymentEvent } from "./depositPayments.ts";
import type { PauseSpans } from "./pauseSpans.ts";
import { initialRollups, type Rollups } from "./rollups.ts";
import { decodeRollup, encodeRollup } from "./rollupText.ts";

/** The open roll-ups of a feeder as they are stored beside its state: JSON values, short. */
export interface StoredRollups {
  readonly open: readonly (readonly [from: Instant, rollup: string])[];
  readonly payments: readonly StoredPayment[];
  readonly pauses: PauseSpans;
}

type StoredPayment = readonly [boot: string, seq: number, at: Instant, paysFor?: number | null];

export const encodeRollups = ({ open, paymentEvents, pauses }: Rollups): StoredRollups => ({
  open: open.map(({ from, rollup }) => [from, encodeRollup(rollup)]),
  payments: paymentEvents.map(encodePayment),
  pauses,
});

const encodePayment = ({ boot, seq, at, paysFor }: PaymentEvent): StoredPayment =>
  paysFor === undefined ? [boot, seq, at] : [boot, seq, at, paysFor];

/**
 * The inverse of `encodeRollups`. A state that was stored before there were roll-ups has none.
 * @throws RangeError, TypeError for anything else
 */
export function decodeRollups(stored: StoredRollups | undefined): Rollups {
  if (stored === undefined) return initialRollups();
  return {
    open: stored.open.map(([from, rollup]) => ({ from, rollup: decodeRollup(rollup) })),
    paymentEvents: stored.payments.map(([boot, seq, at, paysFor]) =>
      paysFor === undefined ? { boot, seq, at } : { boot, seq, at, paysFor },
    ),
    pauses: stored.pauses,
  };
}
