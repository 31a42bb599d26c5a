import type { Priority } from "../faults.ts";
import { after, between, earlier, hours, type Instant, inHours, later } from "../instant.ts";
import type { Ring, RingRecord } from "./ringRecord.ts";

/** Two replays of one log beside each other. */
export interface RingComparison {
  readonly totals: Pair<RingCounts>;
  /** By fault: the highest priority first, then the most frequent. Without those that neither has. */
  readonly faults: readonly FaultComparison[];
  /** Rings, and notes, that the other doesn't have, by time. */
  readonly only: Pair<readonly Ring[]>;
}

/** The first replay's and the second's. */
export type Pair<Value> = readonly [Value, Value];
export type RingCounts = Readonly<Record<Priority, number>>;

export interface FaultComparison {
  readonly fault: string;
  readonly highest: Priority;
  readonly sides: Pair<FaultRings>;
}

export interface FaultRings {
  readonly counts: RingCounts;
  readonly firstAt: Instant | null;
  readonly lastAt: Instant | null;
  readonly hoursInForce: number;
}

/** [from, to) */
interface Span {
  readonly from: Instant;
  readonly to: Instant;
}

/** What rang in this span in two replays: how often, and what only one of the two has. */
export function compareRings(records: Pair<RingRecord>, span: Span): RingComparison {
  const [first, second] = [within(records[0], span), within(records[1], span)];
  const names = new Set([first, second].flatMap(({ rings, inForce }) => [...rings, ...inForce].map(faultOf)));
  const faults = [...names].map((fault) => compareFault(fault, [first, second], span)).sort(byUrgency);
  return {
    totals: [countRings(first.rings), countRings(second.rings)],
    faults,
    only: [ringsWithoutMatch(first.rings, second.rings), ringsWithoutMatch(second.rings, first.rings)],
  };
}

const faultOf = ({ fault }: { readonly fault: string }): string => fault;

const within = ({ rings, inForce }: RingRecord, { from, to }: Span): RingRecord => ({
  rings: rings.filter(({ at }) => from <= at && at < to),
  inForce: inForce.filter((each) => each.from < to && (each.to === null || each.to > from)),
});

const rank: Readonly<Record<Priority, number>> = { urgent: 2, soon: 1, note: 0 };

function compareFault(fault: string, records: Pair<RingRecord>, span: Span): FaultComparison {
  const ringsOf = ({ rings }: RingRecord) => rings.filter((ring) => ring.fault === fault);
  const sideOf = (record: RingRecord): FaultRings => {
    const rings = ringsOf(record);
    return {
      counts: countRings(rings),
      firstAt: rings[0]?.at ?? null,
      lastAt: rings.at(-1)?.at ?? null,
      hoursInForce: hoursOf(record, fault, span),
    };
  };
  const priorities = records.flatMap((record) => ringsOf(record).map(({ priority }) => priority));
  const highest = priorities.reduce<Priority>((a, b) => (rank[b] > rank[a] ? b : a), "note");
  return { fault, highest, sides: [sideOf(records[0]), sideOf(records[1])] };
}

const hoursOf = ({ inForce }: RingRecord, fault: string, { from, to }: Span): number =>
  inForce
    .filter((each) => each.fault === fault)
    .reduce((sum, each) => sum + inHours(between(later(each.from, from), earlier(each.to ?? to, to))), 0);

function countRings(rings: readonly Ring[]): RingCounts {
  const counts = { urgent: 0, soon: 0, note: 0 };
  for (const { priority } of rings) counts[priority] += 1;
  return counts;
}

const ringCount = ({ counts: { urgent, soon, note } }: FaultRings): number => urgent + soon + note;

const byUrgency = (a: FaultComparison, b: FaultComparison): number =>
  rank[b.highest] - rank[a.highest] ||
  ringCount(b.sides[0]) + ringCount(b.sides[1]) - ringCount(a.sides[0]) - ringCount(a.sides[1]) ||
  (a.fault < b.fault ? -1 : 1);

// --- what only one has -----------------------------------------------------------------------------------------------

/** Two rings of an alarm are the same one where both last at some moment, or the second begins this soon after the end of the first. */
const sameWithin = hours(1);

/**
 * Each ring is matched with at most one of the other replay, the earliest first. So an alarm that rings a day earlier and lasts is
 * the same one, and of five rings in place of one that lasts all day, four have no match.
 */
function ringsWithoutMatch(rings: readonly Ring[], others: readonly Ring[]): readonly Ring[] {
  const free = new Map<string, Ring[]>();
  for (const other of others) free.set(keyOf(other), [...(free.get(keyOf(other)) ?? []), other]);
  return rings.filter((ring) => {
    const candidates = free.get(keyOf(ring)) ?? [];
    while (candidates[0] !== undefined && isOver(candidates[0], ring.at)) candidates.shift();
    const [candidate] = candidates;
    if (candidate === undefined || isOver(ring, candidate.at)) return true;
    candidates.shift();
    return false;
  });
}

/** A note in place of a push is a difference. */
const keyOf = ({ feeder, fault, priority }: Ring): string =>
  `${feeder} ${fault} ${priority === "note" ? "note" : "push"}`;

const isOver = ({ endedAt }: Ring, at: Instant): boolean => endedAt !== null && after(endedAt, sameWithin) < at;
