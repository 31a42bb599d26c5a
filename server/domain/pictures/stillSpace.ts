import { days, hours, minutes } from "../instant.ts";
import type { PictureUsage } from "./pictureSpace.ts";

/** How many stills a yard has, and for how long. All our choice. */

/** A space of their own: a camera that sends too much takes none from the notes. Some 200 stills a day for a month are 6,000. */
export const stillQuota: PictureUsage = { pictures: 10_000, bytes: 1024 ** 3 };

/** A deposit each four minutes of a long summer's day. */
export const stillsADayMax = 300;
export const stillsAMinuteMax = 12;
export const stillBytesMax = 512 * 1024;

/** Until a keeper says otherwise. */
export const stillsKeptDaysUsual = 30;

/** For so long after its arrival a still waits for its event, and then for its payment: a feeder may report after a week without a server. */
export const eventAwaitedFor = days(8);
/** A portion comes within seconds of its deposit, and with the same or the next report. */
export const paidWithin = minutes(10);
/** A day, as its count has it. */
export const countedFor = hours(24);
