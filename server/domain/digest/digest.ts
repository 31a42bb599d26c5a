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

/** A yard's day in words: one screenful on a phone, what needs the keeper first. */
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
 * What a keeper wants to know at breakfast. `date` is the local date of the digest; the birds are told of by the whole local day
 * before it. Where there is nothing to do or nothing happened, that is said too: a digest that stays away would leave the keeper
 * guessing whether all is well.
 */
export function composeDigest(
  yard: DigestYard,
  feeders: readonly DigestFeeder[],
  date: LocalDate,
  now: Instant,
): Digest {
  const day = dayText(date, localDateOf(now, yard.zone));
  const named = (words: string) => `${yard.practice ? "Practice – " : ""}${yard.name}, ${day}: ${words}`;
  if (feeders.length === 0) {
    const nobody = "There is no feeder in this yard yet.";
    return { title: named("no feeder yet"), short: nobody, sections: [{ heading: toDoHeading, lines: [nobody] }] };
  }
  const { tasks, otherLines } = digestTasks(yard, feeders, now);
  // One on the bench, or put away for the season, feeds nobody: it is named, and nothing is said of its birds and its food.
  const connected = feeders.filter(({ state }) => state.reporting.kind !== "neverReported" && isInGarden(state));
  const parts: readonly SectionDraft[] = [
    {
      heading: toDoHeading,
      // Whatever is counted is listed, each with the page where it is done.
      ...(tasks.length === 0
        ? { lines: ["Nothing to do."] }
        : { lines: tasks.map(({ text }) => text), links: tasks.map(({ link }) => link) }),
      omittedText: null,
    },
    { heading: "Besides", lines: otherLines, omittedText: omittedLinesText },
    { heading: "Food left", lines: foodLines(connected, now), omittedText: omittedLinesText },
    { heading: "Birds", lines: birdLines(connected), omittedText: omittedLinesText },
    { heading: "Deposits and pay", lines: paymentLines(connected, yard.zone), omittedText: omittedLinesText },
    { heading: "Wear", lines: wearLines(connected, yard.zone, now), omittedText: omittedLinesText },
    { heading: "Tonight", lines: weatherLines(connected, now), omittedText: omittedLinesText },
  ];
  return {
    title: named(tasks.length === 0 ? "nothing to do" : `${counted(tasks.length, "thing")} to do`),
    short: shortDigest(parts, toDoHeading),
    sections: limitLines(parts),
  };
}

const toDoHeading = "To do today";
const counted = (count: number, one: string): string => `${count} ${one}${count === 1 ? "" : "s"}`;
const omittedLinesText = (count: number): string => `And ${counted(count, "line")} more, each on its feeder's page.`;
