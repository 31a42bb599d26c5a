import { addLocalDays, type LocalDate, localDaysBetween } from "../localTime.ts";

/**
 * The end of feeding, day by day: free food and the ration shrink in equal steps over `days` days, and from the day after the last one
 * nothing is given any more. Birds find other food in a week or more, not from one day to the next. Common practice, no source.
 */
export interface Taper {
  readonly from: LocalDate;
  readonly days: number;
}

/** How much of the usual food the rules give on this day: 1 all of it, 0 none. */
export function taperShare(taper: Taper | undefined, date: LocalDate): number {
  if (taper === undefined) return 1;
  const left = localDaysBetween(date, taperEnd(taper));
  return Math.min(1, Math.max(0, left / (taper.days + 1)));
}

/** The first day without food. */
export const taperEnd = ({ from, days }: Taper): LocalDate => addLocalDays(from, days);

export const isTapered = (taper: Taper | undefined, date: LocalDate): boolean =>
  taper !== undefined && date >= taperEnd(taper);
