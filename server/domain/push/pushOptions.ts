import { after, type Instant, type Span } from "../instant.ts";
import type { NotificationContent } from "../notification/content.ts";

/** What a push service is told of a notice besides its words (RFC 8030 sections 5.2 and 5.3). */
export interface PushOptions {
  readonly ttlSeconds: number; // 0: now or never
  readonly urgency: Urgency;
}

export type Urgency = "low" | "normal" | "high"; // "very-low" waits for mains power and a free network: too late for us

/** Four weeks: the longest that push services are known to keep a message. Common practice, no source. */
const ttlSecondsMax = 28 * 86_400;

export const pushOptions = (notice: NotificationContent): PushOptions => ({
  ttlSeconds: Math.min(ttlSecondsMax, Math.max(0, Math.floor(notice.timeToLive / 1_000))),
  urgency: urgencyOf(notice),
});

/** `high` may wake a phone that saves its battery; good news and the daily digest can wait until it wakes by itself. */
function urgencyOf(notice: NotificationContent): Urgency {
  if (notice.silent) return "low";
  switch (notice.priority) {
    case "urgent":
      return "high";
    case "soon":
      return "normal";
    case "note":
      return "low";
  }
}

/**
 * The notice with the time that it has left, so that the push service drops it when we would; null where it is too old
 * to be told at all: "food low" of the day before yesterday would only mislead.
 */
export function withRemainingTime(
  notice: NotificationContent,
  writtenAt: Instant,
  now: Instant,
): NotificationContent | null {
  const left = (expiryOf(writtenAt, notice.timeToLive) - now) as Span;
  if (left < 0) return null;
  // Where the clock was set back an item may seem to come from the future; its life doesn't grow by that.
  return { ...notice, timeToLive: Math.min(left, notice.timeToLive) as Span };
}

export const expiryOf = (writtenAt: Instant, timeToLive: Span): Instant => after(writtenAt, timeToLive);

/** RFC 8030 section 5.4: at most 32 characters of the URL-safe base64 alphabet. */
export const isTopic = (text: string): boolean => /^[A-Za-z0-9_-]{1,32}$/.test(text);
