import type { LocalDate } from "../domain/localTime.ts";
import {
  calendarReminders,
  type Reminder,
  type SeasonWeather,
  weatherReminders,
  weatherSeasonStart,
} from "../domain/training/seasonReminders.ts";
import type { DigestStore, YardRow } from "../ports.ts";
import { texts } from "../text/index.ts";

interface DigestDay {
  readonly date: LocalDate;
  readonly previous: LocalDate | null; // of the yard's newest digest
  readonly weather: SeasonWeather;
}

/**
 * The reminders for this digest, each once a season. Nothing is stored for it: the earlier digests are the record. They are read only on a
 * day whose weather asks for one, and only back to the one that has it.
 */
export async function dueReminders(
  digests: Pick<DigestStore, "dates" | "digest">,
  { id, place }: Pick<YardRow, "id" | "place">,
  { date, previous, weather }: DigestDay,
): Promise<readonly Reminder[]> {
  const due: Reminder[] = [];
  for (const reminder of weatherReminders(weather)) {
    if (!(await wasSaidSince(digests, id, reminder, weatherSeasonStart(reminder, place, date)))) due.push(reminder);
  }
  return [...due, ...calendarReminders(place, date, previous)];
}

/** A season of the weather lasts a year at most. */
const datesMax = 366;

async function wasSaidSince(
  digests: Pick<DigestStore, "dates" | "digest">,
  yard: string,
  reminder: Reminder,
  since: LocalDate,
): Promise<boolean> {
  const text = texts.season.reminders[reminder];
  for (const date of await digests.dates(yard, datesMax)) {
    if (date < since) return false;
    const digest = await digests.digest(yard, date);
    if (digest?.sections.some(({ lines }) => lines.includes(text))) return true;
  }
  return false;
}
