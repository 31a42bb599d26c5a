import { texts } from "../../text/index.ts";
import type { Instant } from "../instant.ts";
import { dayText, type LocalDate, localDateOf } from "../localTime.ts";
import type { Reminder } from "../training/seasonReminders.ts";
import { birdLines } from "./birds.ts";
import { type DigestFeeder, isInGarden } from "./digestFeeder.ts";
import { foodLines } from "./foodLeft.ts";
import { type DigestSection, limitLines, type SectionDraft } from "./limitLines.ts";
import { paymentLines } from "./payments.ts";
import { plannedFoodLines } from "./plannedFood.ts";
import { shortDigest } from "./shortDigest.ts";
import { digestTasks } from "./tasks.ts";
import { wearLines } from "./wear.ts";
import { weatherLines } from "./weatherText.ts";

/** A yard's day as text: one screen on a phone, tasks first. */
export interface Digest {
  readonly title: string;
  /** The body of a push: at most `shortMax` characters. */
  readonly short: string;
  readonly sections: readonly DigestSection[];
}

export interface DigestYard {
  readonly id: string;
  readonly name: string;
  readonly zone: string;
  readonly practice: boolean;
}

/**
 * The daily digest. `date` is its local date; the birds are those of the whole local day before it. It also states that there is
 * nothing to do or that nothing happened: without a digest the keeper could not know that all is OK.
 * @param reminders those of the season that are due with this one
 */
export function composeDigest(
  yard: DigestYard,
  feeders: readonly DigestFeeder[],
  date: LocalDate,
  now: Instant,
  reminders: readonly Reminder[] = [],
): Digest {
  const [day, text] = [dayText(date, localDateOf(now, yard.zone)), texts.digest];
  const titleOf = (what: string) => (yard.practice ? text.practiceTitle : text.title)(yard.name, day, what);
  if (feeders.length === 0) {
    const sections = [{ heading: text.headings.toDo, lines: [text.noFeeder] }];
    return { title: titleOf(text.noFeederTitle), short: text.noFeeder, sections };
  }
  const { tasks, otherLines } = digestTasks(yard, feeders, now);
  const connected = feeders.filter(feedsBirds);
  const parts: readonly SectionDraft[] = [
    {
      heading: text.headings.toDo,
      ...(tasks.length === 0
        ? { lines: [text.nothingToDo] }
        : { lines: tasks.map((task) => task.text), links: tasks.map((task) => task.link) }),
      omittedText: null, // every counted task is listed, each with the page where it is done
    },
    { heading: text.headings.also, lines: otherLines, omittedText: text.omittedLines },
    { heading: text.headings.food, lines: foodLines(connected, now), omittedText: text.omittedLines },
    { heading: text.headings.birds, lines: birdLines(connected), omittedText: text.omittedLines },
    {
      heading: text.headings.payments,
      lines: [...paymentLines(connected, yard.zone), ...plannedFoodLines(connected, date)],
      omittedText: text.omittedLines,
    },
    { heading: text.headings.wear, lines: wearLines(connected, yard.zone, now), omittedText: text.omittedLines },
    { heading: text.headings.weather, lines: weatherLines(connected, now), omittedText: text.omittedLines },
  ];
  return {
    title: titleOf(tasks.length === 0 ? text.nothingToDoTitle : text.tasksTitle(tasks.length)),
    short: shortDigest(parts, text.headings.toDo),
    sections: limitLines([...parts, seasonPart(reminders)]),
  };
}

/** It comes last, and never in the push: it is read when there is time. */
const seasonPart = (reminders: readonly Reminder[]): SectionDraft => ({
  heading: texts.season.heading,
  lines: reminders.map((reminder) => texts.season.reminders[reminder]),
  omittedText: null,
});

/** A feeder in the workshop or in storage feeds no birds: only its name is listed. */
const feedsBirds = ({ state }: DigestFeeder): boolean => state.reporting.kind !== "neverReported" && isInGarden(state);
