import type { Instant } from "../instant.ts";
import { dayText, type LocalDate, localDateOf } from "../localTime.ts";
import { birdLines } from "./birds.ts";
import { type DigestFeeder, isInGarden } from "./digestFeeder.ts";
import { foodLines } from "./foodLeft.ts";
import { type DigestSection, limitLines, type SectionDraft } from "./limitLines.ts";
import { paymentLines } from "./payments.ts";
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
 */
export function composeDigest(
  yard: DigestYard,
  feeders: readonly DigestFeeder[],
  date: LocalDate,
  now: Instant,
): Digest {
  const day = dayText(date, localDateOf(now, yard.zone));
  const titleOf = (text: string) => `${yard.practice ? "Practice – " : ""}${yard.name}, ${day}: ${text}`;
  if (feeders.length === 0) {
    const text = "There is no feeder in this yard yet.";
    return { title: titleOf("no feeder yet"), short: text, sections: [{ heading: toDoHeading, lines: [text] }] };
  }
  const { tasks, otherLines } = digestTasks(yard, feeders, now);
  // A feeder in the workshop or in storage feeds no birds: only its name is listed.
  const connected = feeders.filter(({ state }) => state.reporting.kind !== "neverReported" && isInGarden(state));
  const parts: readonly SectionDraft[] = [
    {
      heading: toDoHeading,
      // Every counted task is listed, each with the page where it is done.
      ...(tasks.length === 0
        ? { lines: ["Nothing to do."] }
        : { lines: tasks.map(({ text }) => text), links: tasks.map(({ link }) => link) }),
      omittedText: null,
    },
    { heading: "Also", lines: otherLines, omittedText: omittedLinesText },
    { heading: "Food", lines: foodLines(connected, now), omittedText: omittedLinesText },
    { heading: "Birds", lines: birdLines(connected), omittedText: omittedLinesText },
    { heading: "Deposits and portions", lines: paymentLines(connected, yard.zone), omittedText: omittedLinesText },
    { heading: "Wear", lines: wearLines(connected, yard.zone, now), omittedText: omittedLinesText },
    { heading: "Tonight", lines: weatherLines(connected, now), omittedText: omittedLinesText },
  ];
  return {
    title: titleOf(tasks.length === 0 ? "nothing to do" : counted(tasks.length, "task")),
    short: shortDigest(parts, toDoHeading),
    sections: limitLines(parts),
  };
}

const toDoHeading = "To do today";
const counted = (count: number, one: string): string => `${count} ${one}${count === 1 ? "" : "s"}`;
const omittedLinesText = (count: number): string =>
  `${count} more ${count === 1 ? "line" : "lines"} on the feeder pages.`;
