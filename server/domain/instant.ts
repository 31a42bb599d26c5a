import type { Quantity } from "./units.ts";

/** A point in time: milliseconds since 1970-01-01T00:00:00Z. Always handed in; nothing here reads a clock. */
export type Instant = Quantity<"Instant">;
/** A span of time in milliseconds. */
export type Span = Quantity<"Span">;

/** @throws RangeError where the number is no time that a calendar can hold. */
export function instant(epochMilliseconds: number): Instant {
  if (!Number.isFinite(epochMilliseconds) || Math.abs(epochMilliseconds) > 8.64e15) {
    throw new RangeError(`expected milliseconds since 1970 within the calendar, got ${epochMilliseconds}`);
  }
  return epochMilliseconds as Instant;
}

/** @throws RangeError where the text is not an ISO 8601 date and time. */
export const instantOf = (iso: string): Instant => instant(Date.parse(iso));
export const isoOf = (at: Instant): string => new Date(at).toISOString();

export const milliseconds = (count: number): Span => count as Span;
export const seconds = (count: number): Span => (count * 1_000) as Span;
export const minutes = (count: number): Span => (count * 60_000) as Span;
export const hours = (count: number): Span => (count * 3_600_000) as Span;
export const days = (count: number): Span => (count * 86_400_000) as Span;

export const after = (at: Instant, span: Span): Instant => (at + span) as Instant;
export const before = (at: Instant, span: Span): Instant => (at - span) as Instant;
export const between = (from: Instant, to: Instant): Span => (to - from) as Span;
export const earlier = (a: Instant, b: Instant): Instant => (a < b ? a : b);
export const later = (a: Instant, b: Instant): Instant => (a > b ? a : b);

export const inHours = (span: Span): number => span / 3_600_000;
export const inDays = (span: Span): number => span / 86_400_000;
