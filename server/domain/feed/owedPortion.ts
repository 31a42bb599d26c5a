import { after, before, type Instant, minutes, type Span, seconds } from "../instant.ts";
import type { Portion } from "../report.ts";
import type { OwnLimit } from "./ownLimits.ts";

/** What a deposit or a press is owed, and which portion pays it. */
export interface OwedPortion {
  readonly kind: "deposit" | "press";
  readonly seq: number;
  readonly lastSeq: number; // one cap may trip the detector twice: all of these are one deposit
  readonly at: Instant;
  readonly receivedAt: Instant; // by our clock
  readonly portionWasEmpty: boolean; // a portion answered it, but nothing fell
  readonly cutShort?: true; // a portion answered it, and was cut short; left out else
  readonly ownLimit?: OwnLimit; // why the feeder may refuse it; left out where nothing in its record says so
  readonly promised?: true; // the feeder itself said that it earned a portion; left out else
}

/**
 * A reward that comes seconds late teaches little (Lattal 2010), so a portion that doesn't name what it pays counts as
 * a payment only within ten seconds.
 */
const paymentDelayMax = seconds(10);
/** The times of two reports may differ by their time in transit. */
const clockSlack = seconds(3);
/** A portion that names what it pays, or was promised, counts as payment however slow it was; slowness is judged elsewhere. */
export const namedPaymentDelayMax = minutes(2);
/**
 * A press so soon after a portion or another press is a bird's hammering; feeders ignore it. A cap that drops while the last portion is
 * given, or just after it, is ignored by many programs as well: that is their rule, and no fault of the feeder. They wait for up to a
 * minute; common practice, no source. A feeder that pays nothing any more is found all the same: it gives no portion.
 */
export const actGapMin = seconds(60);

const isPaidByName = (portion: Portion & { readonly recordedAt: Instant }, owedPortion: OwedPortion) =>
  portion.paysFor !== null &&
  portion.paysFor >= owedPortion.seq &&
  portion.paysFor <= owedPortion.lastSeq &&
  Math.abs(portion.recordedAt - owedPortion.at) <= namedPaymentDelayMax; // seq restarts at each boot: the time must fit too

/** What this portion pays, if anything: the oldest that waits for one, before what was answered by one that gave nothing. */
export function paidBy(
  portion: Portion & { readonly recordedAt: Instant },
  { owed, unpaid }: { readonly owed: readonly OwedPortion[]; readonly unpaid: readonly OwedPortion[] },
): OwedPortion | undefined {
  const pays = (owedPortion: OwedPortion) => isPaid(portion, owedPortion);
  const isUnanswered = ({ portionWasEmpty, cutShort }: OwedPortion) => !portionWasEmpty && cutShort === undefined;
  const fitting = owed.filter(pays);
  return fitting.find(isUnanswered) ?? fitting[0] ?? unpaid.find(pays) ?? owed.find(isPaidByRepeat(portion));
}

export const isPaid = (portion: Portion & { readonly recordedAt: Instant }, owedPortion: OwedPortion): boolean =>
  portion.paysFor === null ? isPaidByTime(portion, owedPortion) : isPaidByName(portion, owedPortion);

/**
 * A contact bounces, a bird presses twice: many programs then name the second press. It was owed nothing of its own, so it pays the first. A
 * bird that drops a cap and presses in the same moment gets one portion, whichever of the two the program names.
 */
const isPaidByRepeat =
  (portion: Portion & { readonly recordedAt: Instant }) =>
  ({ kind, lastSeq, at, promised }: OwedPortion): boolean =>
    portion.paysFor !== null &&
    portion.paysFor > lastSeq &&
    portion.recordedAt >= at &&
    (portion.cause === kind
      ? portion.recordedAt < after(at, actGapMin)
      : promised === undefined && portion.recordedAt <= after(at, paymentDelayMax));

/**
 * What was promised may wait in the feeder's own queue: its portions come in the order of the acts. One that was answered, but got nothing, waits
 * no longer for its next try than others do: or it would take the next act's portion.
 */
const isPaidByTime = (
  { cause, recordedAt: at }: Portion & { readonly recordedAt: Instant },
  { kind, at: actAt, promised, portionWasEmpty, cutShort }: OwedPortion,
) =>
  cause === kind &&
  at >= before(actAt, clockSlack) &&
  at <=
    after(
      actAt,
      promised && !portionWasEmpty && !cutShort ? namedPaymentDelayMax : ((paymentDelayMax + clockSlack) as Span),
    );
