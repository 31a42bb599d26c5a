import { days, hours, minutes, type Span } from "../instant.ts";
import type { NotifiedPriority } from "./escalation.ts";

/** The times between notifications of one alarm. All our own choice, no source, unless stated. */

/** A push that no phone has displayed by now counts as lost, and an e-mail is sent. */
export const displayExpectedWithin: Readonly<Record<NotifiedPriority, Span>> = {
  urgent: minutes(5),
  soon: minutes(30),
};

/** Each gap is longer than the one before: more frequent reminders would not bring a keeper sooner. */
const reminderGaps: Readonly<Record<NotifiedPriority, readonly Span[]>> = {
  urgent: [minutes(30), hours(1), hours(2), hours(4), hours(8), hours(12)],
  soon: [hours(24), hours(48), hours(72)],
};

/** The gap after so many notifications (1: the first); the last one repeats. */
export function reminderGap(priority: NotifiedPriority, times: number): Span {
  const gaps = reminderGaps[priority];
  return gaps[Math.min(times, gaps.length) - 1] ?? hours(12);
}

/** Each third reminder is also sent by e-mail where no phone displayed the one before. */
export const isEmailReminder = (reminder: number): boolean => reminder % 3 === 0;

/**
 * How long a push service keeps trying a phone that is off. An urgent push is useful for half a day: a reminder replaces it by
 * then. A `soon` is for today, so it lasts a day.
 */
export const alarmTimeToLive: Readonly<Record<NotifiedPriority, Span>> = { urgent: hours(12), soon: hours(24) };

/**
 * A closing notification lasts longer than the alarm's own: that it arrives late is harmless, but an alarm that has ended must not
 * stay on a phone that was off over a weekend.
 */
export const closingTimeToLive = days(3);

/** An alarm that comes back within an hour is the same episode (alarms/); a little longer, so that neither misses the other. */
export const forgetAfterEnd = minutes(65);

/** Nobody can be reached: somebody may add a phone meanwhile, and must not wait for the next alarm. */
export const unreachableCheckEvery = minutes(15);
