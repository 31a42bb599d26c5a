import { after, before, hours, type Instant, milliseconds } from "../../domain/instant.ts";

/**
 * Further back than this a clock was put right, and is followed. A small computer without a clock of its own wakes up with
 * the time that it last wrote down, often once an hour. Common practice, no source.
 */
const clockSetBackMax = hours(1);

/**
 * A feeder's time always goes on: no two things happen to it at the same moment, and none before the one that was taken last,
 * though a clock may be set back a little, and a report may wait while a keeper's act overtakes it. So its record has one
 * order, that of its moments, and a replay can take the very same steps.
 * @param steppedAt of the last step; null where it isn't known.
 */
export function nextMoment(steppedAt: Instant | null, now: Instant): Instant {
  if (steppedAt === null || now > steppedAt || now < before(steppedAt, clockSetBackMax)) return now;
  return after(steppedAt, milliseconds(1));
}
