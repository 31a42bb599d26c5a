import { days, hours, minutes, type Span } from "../instant.ts";
import type { NotifiedPriority } from "./escalation.ts";

/** How much time lies between one word about an alarm and the next. All our own choice, no source, unless said. */

/** A push that no phone has shown by now is taken for lost, and a mail goes. */
export const displayExpectedWithin: Readonly<Record<NotifiedPriority, Span>> = {
  urgent: minutes(5),
  soon: minutes(30),
};

/** Each gap is longer than the one before: a keeper who hasn't come by the third won't come sooner for being nagged. */
const reminderGaps: Readonly<Record<NotifiedPriority, readonly Span[]>> = {
  urgent: [minutes(30), hours(1), hours(2), hours(4), hours(8), hours(12)],
  soon: [hours(24), hours(48), hours(72)],
};

/** The gap after so many rings (1: the first); the last one goes on. */
export function reminderGap(priority: NotifiedPriority, times: number): Span {
  const gaps = reminderGaps[priority];
  return gaps[Math.min(times, gaps.length) - 1] ?? hours(12);
}

/** Each third reminder goes by mail too where nobody saw the one before on a screen. */
export const isEmailReminder = (reminder: number): boolean => reminder % 3 === 0;

/**
 * How long a push service keeps trying a phone that is off. An urgent word is worth having all night, and stale by the
 * next half day: a reminder has replaced it by then. A `soon` is meant for today, so it lives a day.
 */
export const alarmTimeToLive: Readonly<Record<NotifiedPriority, Span>> = { urgent: hours(12), soon: hours(24) };

/**
 * What takes an alarm off a screen lives longer than the alarm's own words: late good news does no harm, and an alarm that
 * still stands on a phone that was off over a weekend does.
 */
export const closingTimeToLive = days(3);

/** An alarm that comes back within an hour is the same episode (alarms/); a little longer, so that neither misses the other. */
export const forgetAfterEnd = minutes(65);

/** Nobody can be told: somebody may connect a phone meanwhile, and must not have to wait for the next alarm. */
export const unreachableCheckEvery = minutes(15);
