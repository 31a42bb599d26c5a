import { bootLabel, bootNumber, numberedBoot } from "./bootNumber.ts";
import { type Span, seconds } from "./instant.ts";

/**
 * Up to which number each boot's events are stored. A higher number is certainly new, without a database query; a gap in the numbers
 * means that the feeder lost some before it could send them.
 */
export interface EventSequence {
  /** The newest boot last, at most `bootsRemembered` of them. */
  readonly boots: readonly BootSequence[];
}

export interface BootSequence {
  readonly boot: string;
  readonly highestSeq: number; // 0 before the first event
  readonly missingCount: number; // numbers below `highest` that never came, as far as this record goes back
  readonly jumpCount?: number; // how often its numbers jumped by more than it can have had events; left out: never
  /** The newest jump: what is numbered in between goes on from where the numbers were before. Left out: none. */
  readonly lastJump?: { readonly to: number; readonly highest: number };
}

const bootsRemembered = 8;

export const initialEventSequence = (): EventSequence => ({ boots: [] });

/** The highest stored seq of this boot; null where it isn't in the state. */
export function highestStoredSeq(sequence: EventSequence, boot: string): number | null {
  return sequence.boots.find((known) => known.boot === boot)?.highestSeq ?? null;
}

/** @param events the newly stored ones of this boot, by seq. */
export function updateEventSequence(
  sequence: EventSequence,
  boot: string,
  events: readonly { readonly seq: number; readonly uptime: Span }[],
): EventSequence {
  const known = sequence.boots.find((other) => other.boot === boot);
  let next = known ?? { boot, highestSeq: 0, missingCount: 0 };
  let rest = events;
  const [first] = events;
  if (known === undefined && first !== undefined) {
    next = startBootSequence(sequence, next, first);
    rest = events.slice(1);
  }
  const inOrder = inOrderCount(next.highestSeq, rest);
  if (inOrder > 0) next = { ...next, highestSeq: next.highestSeq + inOrder };
  for (const event of rest.slice(inOrder)) next = withEvent(next, event);
  const others = sequence.boots.filter((other) => other.boot !== boot);
  return { boots: [...others, next].slice(-bootsRemembered) };
}

/** How many go on directly after the highest number: nearly always all, and then one copy is enough for a thousand events. */
function inOrderCount(highest: number, events: readonly { readonly seq: number }[]): number {
  const end = events.findIndex(({ seq }, index) => seq !== highest + index + 1);
  return end === -1 ? events.length : end;
}

type NumberedEvent = { readonly seq: number; readonly uptime: Span };

/** A feeder whose boot id stays the same over a restart may go on with its numbers too: those before are not missing. */
function startBootSequence({ boots }: EventSequence, next: BootSequence, event: NumberedEvent): BootSequence {
  const before = numberedBoot(bootLabel(next.boot), bootNumber(next.boot) - 1);
  const highest = boots.find(({ boot }) => boot === before)?.highestSeq ?? 0;
  return withEvent(event.seq > highest ? { ...next, highestSeq: highest } : next, event);
}

function withEvent(known: BootSequence, event: NumberedEvent): BootSequence {
  const { seq } = event;
  const { highestSeq, missingCount, lastJump } = known;
  if (seq > highestSeq) {
    const gap = seq - highestSeq - 1;
    if (gap <= seqGapMax(event)) return { ...known, highestSeq: seq, missingCount: missingCount + gap };
    return {
      ...known,
      highestSeq: seq,
      jumpCount: (known.jumpCount ?? 0) + 1,
      lastJump: { to: seq, highest: highestSeq },
    };
  }
  if (lastJump === undefined || seq <= lastJump.highest || seq >= lastJump.to) {
    return { ...known, missingCount: Math.max(0, missingCount - 1) }; // a late one fills its gap
  }
  const gap = seq - lastJump.highest - 1;
  const inside = { ...known, lastJump: { ...lastJump, highest: seq } };
  return gap <= seqGapMax(event)
    ? { ...inside, missingCount: missingCount + gap }
    : { ...inside, jumpCount: (known.jumpCount ?? 0) + 1 };
}

/**
 * As many events as a feeder can have lost: one each ten seconds of its uptime, ten times what a busy feeder has in a day (the
 * simulated ones have some hundreds), and two full reports for a burst. More is no loss but another numbering.
 * Common practice, no source.
 */
const seqGapMax = ({ uptime }: NumberedEvent): number => 4_000 + Math.floor(uptime / seconds(10));

/** How many the feeder has lost on the way, as far as the record goes back. */
export const missingEventCount = (sequence: EventSequence): number =>
  sequence.boots.reduce((sum, { missingCount }) => sum + missingCount, 0);

/** How often its numbers jumped, as far as the record goes back. */
export const numberingJumpCount = (sequence: EventSequence): number =>
  sequence.boots.reduce((sum, { jumpCount }) => sum + (jumpCount ?? 0), 0);
