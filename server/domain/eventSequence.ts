/**
 * How far each boot's events have come in. An event numbered beyond all that were stored is surely new, which spares the
 * database the question; a gap in the numbers tells that the feeder lost some before it could send them.
 */
export interface EventSequence {
  /** The newest boot last, at most `bootsRemembered` of them. */
  readonly boots: readonly BootSequence[];
}

export interface BootSequence {
  readonly boot: string;
  readonly highest: number; // 0 before the first event
  readonly missing: number; // numbers below `highest` that never came, as far as this record goes back
}

const bootsRemembered = 8;

export const noEvents = (): EventSequence => ({ boots: [] });

/** The highest stored seq of this boot; null where the record has forgotten (or never knew) it. */
export function highestStored(sequence: EventSequence, boot: string): number | null {
  return sequence.boots.find((known) => known.boot === boot)?.highest ?? null;
}

/** @param seqs the newly stored numbers of this boot, ascending. */
export function stored(sequence: EventSequence, boot: string, seqs: readonly number[]): EventSequence {
  const known = sequence.boots.find((other) => other.boot === boot);
  let highest = known?.highest ?? 0;
  let missing = known?.missing ?? 0;
  for (const seq of seqs) {
    if (seq > highest) {
      missing += seq - highest - 1;
      highest = seq;
    } else {
      missing = Math.max(0, missing - 1); // a late one fills its gap
    }
  }
  const others = sequence.boots.filter((other) => other.boot !== boot);
  return { boots: [...others, { boot, highest, missing }].slice(-bootsRemembered) };
}

/** How many the feeder has lost on the way, as far as the record goes back. */
export const missingEvents = (sequence: EventSequence): number =>
  sequence.boots.reduce((sum, { missing }) => sum + missing, 0);
