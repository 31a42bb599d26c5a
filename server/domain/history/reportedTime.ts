import type { FeederState } from "../feeder.ts";
import { after, type Instant, milliseconds, type Span } from "../instant.ts";
import type { RollupSpan } from "./rollupSpans.ts";

/** Half an interval past its time, a report is late: nearer to lost than to jitter. */
const lateFactor = 1.5;

/**
 * The time for which a report stands: since the report before, if it is not late, or else one interval from that report on. The rest
 * is a gap. Null for a first report and for a late copy. It is counted only when the next report comes, so that it is the same
 * however often the feeder is checked between.
 */
export function reportedSpan(before: FeederState, after: FeederState): RollupSpan | null {
  if (before.reporting.kind === "neverReported" || after.reporting.kind === "neverReported") return null;
  const from = before.reporting.lastReportAt;
  const to = after.reporting.lastReportAt;
  if (to <= from) return null;
  const interval = expectedInterval(before);
  return to - from <= lateFactor * interval ? { from, to } : { from, to: endOfInterval(from, interval) };
}

const endOfInterval = (from: Instant, interval: Span): Instant => after(from, interval);

/** As set or, if that is longer, as learnt: a feeder may report less often than its settings say. */
function expectedInterval({ reporting, settings }: FeederState): Span {
  const learnt = reporting.kind === "reporting" ? reporting.intervals.mean : 0;
  return milliseconds(Math.round(Math.max(settings.reportEvery, learnt)));
}
