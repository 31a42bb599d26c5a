import { after, days, hours, type Instant, minutes, type Span } from "../instant.ts";
import { dayOf } from "./rollupSpans.ts";
import { localDayNumber, localDayStart } from "./zoneOffsets.ts";

/** What a chart shows: a span of time in the yard's zone, in at most so many points. */
export interface HistoryRequest {
  readonly from: Instant;
  readonly to: Instant;
  readonly points: number; // at least 2
  readonly zone: string;
}

export type HistoryLevel = "quarter" | "hour" | "day";

/** Which roll-ups to read, those that begin within `from` to `to`, and the buckets into which they are merged. */
export interface HistoryPlan {
  readonly level: HistoryLevel;
  readonly from: Instant; // begin of the first bucket
  readonly to: Instant; // end of the last one
  readonly starts: readonly Instant[]; // of the buckets, in order; each ends where the next begins
}

/**
 * The finest buckets that are few enough. They begin with local days, and so don't move when the span does: the same bucket shows
 * the same figures in each view. Buckets of several days begin on a Monday.
 * @throws RangeError where the span is empty or fewer than two points are wanted: two buckets may meet within any span.
 */
export function planHistory({ from, to, points, zone }: HistoryRequest): HistoryPlan {
  if (!(from < to)) throw new RangeError(`expected a span of history with from < to, got ${from}..${to}`);
  if (!(points >= 2)) throw new RangeError(`expected at least 2 points of history, got ${points}`);
  for (const { level, length } of stepsWithinDay) {
    if ((to - from) / length > points) continue;
    const plan = planWithinDays(level, length, { from, to, zone });
    if (plan.starts.length <= points) return plan;
  }
  for (let count = 1; ; count = nextDayCount(count)) {
    if ((to - from) / days(count) > points) continue;
    const plan = planOfDays(count, { from, to, zone });
    if (plan.starts.length <= points) return plan;
  }
}

const stepsWithinDay: readonly { readonly level: HistoryLevel; readonly length: Span }[] = [
  { level: "quarter", length: minutes(15) },
  { level: "quarter", length: minutes(30) },
  { level: "hour", length: hours(1) },
  { level: "hour", length: hours(2) },
  { level: "hour", length: hours(3) },
  { level: "hour", length: hours(4) },
  { level: "hour", length: hours(6) },
  { level: "hour", length: hours(12) },
];

/** 1, 2, 7, 14, 28 days, then twice as many each time. */
const nextDayCount = (count: number): number => (count === 2 ? 7 : 2 * count);

type Extent = Omit<HistoryRequest, "points">;

function planWithinDays(level: HistoryLevel, length: Span, { from, to, zone }: Extent): HistoryPlan {
  const starts: Instant[] = [];
  let end = from;
  for (let day = dayOf(from, zone); day.from < to; day = dayOf(day.to, zone)) {
    // A day that is an hour longer or shorter has a longer or shorter last bucket, and not a sliver of one.
    const count = Math.max(1, Math.round((day.to - day.from) / length));
    for (let index = 0; index < count; index++) {
      const start = after(day.from, (index * length) as Span);
      const bucketEnd = index === count - 1 ? day.to : after(start, length);
      if (bucketEnd <= from || start >= to) continue;
      starts.push(start);
      end = bucketEnd;
    }
  }
  return { level, from: starts[0] ?? from, to: end, starts };
}

/** 1970-01-01 was a Thursday. */
const daysSinceMonday = 3;

function planOfDays(count: number, { from, to, zone }: Extent): HistoryPlan {
  const shift = count % 7 === 0 ? daysSinceMonday : 0;
  const first = Math.floor((localDayNumber(from, zone) + shift) / count);
  const startOf = (index: number) => localDayStart(index * count - shift, zone);
  const starts: Instant[] = [];
  let index = first;
  for (; startOf(index) < to; index++) {
    if (startOf(index + 1) > startOf(index)) starts.push(startOf(index)); // a zone may leave a date out
  }
  return { level: "day", from: starts[0] ?? from, to: startOf(index), starts };
}
