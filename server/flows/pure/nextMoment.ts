import { after, before, hours, type Instant, milliseconds } from "../../domain/instant.ts";

/**
 * A clock that goes back further than this was corrected, and is followed. A small computer without a hardware clock starts with
 * the time that it stored last, often once an hour. Common practice, no source.
 */
const clockSetBackMax = hours(1);

/**
 * The moment of a feeder's next step, always later than that of its last one, even where a clock was set back a little or a
 * keeper's action overtook a waiting report. So the log has one order, and a replay takes the same steps.
 * @param lastStepAt null where it isn't known.
 */
export function nextMoment(lastStepAt: Instant | null, now: Instant): Instant {
  if (lastStepAt === null || now > lastStepAt || now < before(lastStepAt, clockSetBackMax)) return now;
  return after(lastStepAt, milliseconds(1));
}
