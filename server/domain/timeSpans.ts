import { earlier, type Instant, later, type Span } from "./instant.ts";

/** [from, to) */
export interface TimeSpan {
  readonly from: Instant;
  readonly to: Instant;
}

export const isWithin = ({ from, to }: TimeSpan, at: Instant): boolean => from <= at && at < to;

/** What is left of the span without others, in order of time. */
export function withoutSpans(span: TimeSpan, others: readonly TimeSpan[]): readonly TimeSpan[] {
  let left: readonly TimeSpan[] = [span];
  for (const { from, to } of others) {
    left = left.flatMap((part) => [
      { from: part.from, to: earlier(part.to, from) },
      { from: later(part.from, to), to: part.to },
    ]);
    left = left.filter((part) => part.from < part.to);
  }
  return left;
}

export const lengthOfSpans = (spans: readonly TimeSpan[]): Span =>
  spans.reduce((sum, { from, to }) => sum + (to - from), 0) as Span;
