import { namedPaymentWithin } from "../digest/payments.ts";
import { type Instant, seconds } from "../instant.ts";
import type { FeederEvent } from "../report.ts";

/**
 * Which deposits got their portion, by the rules of the digest (digest/payments.ts). Late events may change what was counted before:
 * an event from before a power cut comes hours later, in another quarter's report. So the last events are remembered, and what
 * changes by new ones is the difference between the judgements with and without them. It is the same in whatever order the
 * parts of a backlog come.
 */
export type PaymentEvents = readonly PaymentEvent[]; // in the order in which they came

/** A deposit that expects a portion, or a portion that may pay one. */
export interface PaymentEvent {
  readonly boot: string;
  readonly seq: number;
  readonly at: Instant;
  /** Seq of what a portion pays, null where it doesn't say; left out: this is a deposit. */
  readonly paysFor?: number | null;
  readonly promised?: true; // the feeder itself said that this deposit earned a portion; left out else
}

export interface JudgedDeposit {
  readonly at: Instant; // of its first detection
  readonly isPaid: boolean;
}

const sameDepositWithin = seconds(2);
/** Unless it was promised: then it may wait in the feeder's own queue. */
const unnamedPaymentWithin = seconds(10);

/** Null where the event has no part in payments. `isPaused`: the feeder was paused when it recorded it. */
export function paymentEventOf(boot: string, event: FeederEvent, isPaused: boolean): PaymentEvent | null {
  const { seq, recordedAt: at } = event;
  if (event.kind === "deposit") {
    if (event.metal === false || event.earns === false || isPaused) return null;
    return event.earns ? { boot, seq, at, promised: true } : { boot, seq, at };
  }
  if (event.kind !== "portion") return null;
  const { cause, paysFor, motorRan, chuteCount, cutShort } = event;
  const hasFailed = motorRan === 0 || chuteCount === 0 || cutShort === true;
  return hasFailed || (paysFor === null && cause !== "deposit") ? null : { boot, seq, at, paysFor };
}

/** Two detections of one cap are one deposit. A portion pays the oldest deposit that it fits. */
export function judgeDeposits(events: PaymentEvents): readonly JudgedDeposit[] {
  const deposits: Debt[] = [];
  let oldest = 0; // of those that can still be paid
  for (const event of inTimeOrder(events)) {
    if (event.paysFor === undefined) addDeposit(deposits, event);
    else {
      while (oldest < deposits.length && isDone(deposits[oldest], event.at)) oldest += 1;
      payDeposit(deposits, oldest, event.paysFor, event);
    }
  }
  return deposits;
}

interface Debt {
  readonly at: Instant;
  readonly detections: PaymentEvent[];
  readonly isPromised: boolean;
  isPaid: boolean;
}

function addDeposit(deposits: Debt[], event: PaymentEvent): void {
  const last = deposits.at(-1);
  const lastDetection = last?.detections.at(-1);
  if (lastDetection !== undefined && event.at - lastDetection.at <= sameDepositWithin) last?.detections.push(event);
  else deposits.push({ at: event.at, detections: [event], isPromised: event.promised === true, isPaid: false });
}

function payDeposit(deposits: Debt[], oldest: number, paysFor: number | null, { boot, at }: PaymentEvent): void {
  for (let index = oldest; index < deposits.length; index++) {
    const deposit = deposits[index];
    if (deposit === undefined || deposit.isPaid) continue;
    const fits =
      paysFor === null
        ? at - deposit.at <= (deposit.isPromised ? namedPaymentWithin : unnamedPaymentWithin)
        : deposit.detections.some((detection) => detection.seq === paysFor && detection.boot === boot);
    if (!fits) continue;
    deposit.isPaid = true;
    return;
  }
}

const isDone = (deposit: Debt | undefined, at: Instant): boolean =>
  deposit !== undefined && (deposit.isPaid || at - deposit.at > namedPaymentWithin);

function inTimeOrder(events: PaymentEvents): PaymentEvents {
  for (let index = 1; index < events.length; index += 1) {
    if (compareEvents(events[index - 1] as PaymentEvent, events[index] as PaymentEvent) > 0) {
      return events.toSorted(compareEvents);
    }
  }
  return events;
}

const compareEvents = (a: PaymentEvent, b: PaymentEvent): number =>
  a.at - b.at || a.seq - b.seq || (a.boot < b.boot ? -1 : a.boot > b.boot ? 1 : 0);

/** Two minutes of a busy feeder hold fewer. */
const rememberedMax = 32;

/**
 * What must be remembered after a report: the last events that came. Of a long backlog those at its begin and end, where the part
 * of the backlog before or after it fits.
 */
export function rememberEvents(before: PaymentEvents, added: PaymentEvents): PaymentEvents {
  const half = rememberedMax / 2;
  const ordered = inTimeOrder(added);
  const ends = ordered.length <= rememberedMax ? ordered : [...ordered.slice(0, half), ...ordered.slice(-half)];
  return [...before, ...ends].slice(-rememberedMax);
}
