import { z } from "zod";

/** Of the yard's own clock. */
export const localTime = z.string().regex(/^([01]\d|2[0-3]):[0-5]\d$/, "must be a local time such as 07:30");

/** Of the yard's own calendar. */
export const localDate = z.iso.date("must be a date such as 2027-03-01");
