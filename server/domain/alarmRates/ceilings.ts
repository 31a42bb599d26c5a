import { days, hours, minutes } from "../instant.ts";

/**
 * The standard's figures for an alarm system's own health. They are meant for a person who sits before a console all day, so
 * for a phone they are far above what is bearable. Chattering and stale alarms as seen in a public copy, all else from memory.
 * Source: ANSI/ISA-18.2-2016 clause 16, IEC 62682:2014, EEMUA 191.
 */
export const perDayRule = { acceptable: 144, most: 288 } as const;
export const tenMinutesMost = 10;
export const floodRule = { within: minutes(10), beginsAbove: 10, endsBelow: 5 } as const;
export const chatterRule = { onsets: 3, within: minutes(1) } as const;
/** "Short, and not repeated at once": two minutes, that is the next look or the one after. The length is ours. */
export const fleetingWithin = minutes(2);
export const staleRule = { after: hours(24), below: 5 } as const;
/** The standard judges over a month at least. */
export const daysMin = 30;

/** What a phone in a pocket bears. Our design: at most one alarm a week per feeder. */
export const perFeederWeekMost = 1;
/** From when a rate is judged: whoever sets a yard up tries what it does. Our choice. */
export const judgedAfter = days(7);
