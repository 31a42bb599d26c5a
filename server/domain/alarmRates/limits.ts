import { days, hours, minutes } from "../instant.ts";

/**
 * The standard's figures for an alarm system's own health. They are meant for an operator at a console, so for a phone they
 * are far too high. Chattering and stale alarms as seen in a public copy, all else from memory.
 * Source: ANSI/ISA-18.2-2016 clause 16, IEC 62682:2014, EEMUA 191.
 */
export const perDayLimits = { acceptable: 144, most: 288 } as const;
export const tenMinutesMax = 10;
export const floodRule = { within: minutes(10), beginsAbove: 10, endsBelow: 5 } as const;
export const chatterRule = { onsets: 3, within: minutes(1) } as const;
/** "Short, and not repeated at once": two minutes, that is the next check or the one after. The length is ours. */
export const fleetingSpanMax = minutes(2);
export const staleRule = { after: hours(24), below: 5 } as const;
/** The standard judges over a month at least. */
export const daysMin = 30;

/** For a phone in a pocket. Our design: at most one alarm a week per feeder. */
export const perFeederWeekMax = 1;
/** A rate is judged after so long: while a yard is set up, alarms are tried. Our choice. */
export const judgedSpanMin = days(7);
