import { texts } from "../text/index.ts";
import { after, type Instant, later, minutes } from "./instant.ts";
import { addLocalDays, type LocalDate, localDateOf, localTimeOf, momentText, startOfLocalDay } from "./localTime.ts";
import type { Place } from "./settings.ts";
import { duskToDusk, lightAt } from "./sun.ts";

/**
 * "Today" follows the clock: its page runs from the dusk before up to now, so that the newest events are always on it. Only at
 * midnight does the evening move to the page of the next day. Every other day runs from dusk to dusk. Where midsummer's dusk
 * comes after midnight, the day before goes on until then.
 */
export interface DayLocation {
  readonly place: Place | null;
  readonly zone: string;
}

export interface CurrentDay {
  readonly date: LocalDate;
  readonly until: Instant; // when the next day begins to run
}

export function currentDay({ place, zone }: DayLocation, now: Instant): CurrentDay {
  const today = localDateOf(now, zone);
  const begins = (date: LocalDate) => later(startOfLocalDay(date, zone), duskToDusk(place, zone, date).from);
  if (now < begins(today)) return { date: addLocalDays(today, -1), until: begins(today) };
  return { date: today, until: begins(addLocalDays(today, 1)) };
}

export interface DayExtent {
  readonly from: Instant;
  readonly to: Instant;
  readonly text: string; // "From sunset (yesterday 15:32) until now."
}

export function dayExtent(yard: DayLocation, date: LocalDate, now: Instant): DayExtent {
  const { place, zone } = yard;
  const { from, to } = duskToDusk(place, zone, date);
  const start = [endText(place, from), momentText(from, zone, now)] as const;
  const { laterEvents, untilNow, whole } = texts.days;
  if (date !== currentDay(yard, now).date) {
    return { from, to, text: whole(...start, endText(place, to), momentText(to, zone, now)) };
  }
  const text = untilNow(...start);
  const isEvening = now > to;
  return {
    from,
    to: later(to, now),
    text: isEvening ? laterEvents(text, endText(place, to), localTimeOf(to, zone)) : text,
  };
}

/** What a day begins and ends with there: sunset, as a rule. */
function endText(place: Place | null, at: Instant): string {
  if (place === null) return texts.days.midnight;
  const goesDark =
    lightAt(place, after(at, minutes(1))) === "night" && lightAt(place, after(at, minutes(-1))) !== "night";
  return goesDark ? texts.days.sunset : texts.days.midnightBySun;
}
