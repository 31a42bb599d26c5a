import { after, type Instant, type Span } from "../instant.ts";
import type { NotificationContent } from "../notification/content.ts";

/** The headers of a push besides its content (RFC 8030 sections 5.2 and 5.3). */
export interface PushOptions {
  readonly ttlSeconds: number; // 0: now or never
  readonly urgency: Urgency;
}

export type Urgency = "low" | "normal" | "high"; // "very-low" waits for mains power and a free network: too late for us

/** Four weeks: the longest that push services are known to keep a message. Common practice, no source. */
const ttlSecondsMax = 28 * 86_400;

export const pushOptions = (content: NotificationContent): PushOptions => ({
  ttlSeconds: Math.min(ttlSecondsMax, Math.max(0, Math.floor(content.timeToLive / 1_000))),
  urgency: urgencyOf(content),
});

/** `high` may wake a phone that saves its battery; the end of an alarm and the daily digest can wait until it wakes. */
function urgencyOf(content: NotificationContent): Urgency {
  if (content.silent) return "low";
  switch (content.priority) {
    case "urgent":
      return "high";
    case "soon":
      return "normal";
    case "note":
      return "low";
  }
}

/**
 * The notification with its remaining time, so that the push service drops it when the server would; null where it is too old to
 * send: "food low" of the day before yesterday would only mislead.
 */
export function withRemainingTime(
  content: NotificationContent,
  writtenAt: Instant,
  now: Instant,
): NotificationContent | null {
  const left = (expiryOf(writtenAt, content.timeToLive) - now) as Span;
  if (left < 0) return null;
  // Where the clock was set back an item may seem to come from the future; that doesn't extend its time.
  return { ...content, timeToLive: Math.min(left, content.timeToLive) as Span };
}

export const expiryOf = (writtenAt: Instant, timeToLive: Span): Instant => after(writtenAt, timeToLive);

/** RFC 8030 section 5.4: at most 32 characters of the URL-safe base64 alphabet. */
export const isTopic = (text: string): boolean => /^[A-Za-z0-9_-]{1,32}$/.test(text);
