/** The rows of the first page, and what they add up to. Each octet here is part of the first download. */

/** Marks next to a feeder's name. */
export const marks = {
  paused: "paused",
  silent: "silent",
  onBench: "in the workshop",
  putAway: "in storage",
} as const;
export const shelvedMark = (count: number) => `${count} shelved`;

export const foodUnknownText = "Food: not known";
export const foodMayBeOutText = "Food may be out";
export const foodHoursText = (hours: number) => `Food: at least ${hours} h`;
export const foodAtLeastText = (days: number) => `Food: at least ${daysText(days)}`;
export const foodAboutText = (days: number) => `Food: about ${daysText(days)}`;
export const foodRangeText = (from: number, to: number) => `Food: ${from} to ${to} days`;
const daysText = (days: number) => (days === 1 ? "a day" : `${days} days`);
export const lastReportLabel = "last report ";

export const refillLabel = "Refill";

/** The sentence over all of them: the most serious part is the title. */
export const allWellTitle = "All well";
export const notKnownTitle = (since: string) => `Not known since ${since}`;
export const thenText = (verdict: string) => `Then: ${verdict}.`;
export const needText = (count: number, all: number) => `${count} of ${all} ${count === 1 ? "needs" : "need"} you`;
export const oneNeedsText = (name: string) => `${name} needs you`;
export const partTexts = {
  silent: (count: number) => `${count} not heard from`,
  unsure: (count: number) => `${count} not fully known`,
  waiting: (count: number) => `${count} without a first report`,
  paused: (count: number) => `${count} paused`,
  away: (count: number) => `${count} not in use`,
  well: (count: number) => `${count} well`,
} as const;
export const oneTexts = {
  silent: (name: string) => `${name} not heard from`,
  unsure: (name: string) => `${name}: not all is known`,
  waiting: (name: string) => `${name} has not reported yet`,
  paused: (name: string) => `${name} is paused`,
  away: (name: string) => `${name} is not in use`,
  well: () => "All well",
} as const;
