import { texts } from "../../text/index.ts";
import type { SectionDraft } from "./limitLines.ts";

/** What phones show of a notification before they cut it, seen on two kinds of phones; common practice, no source. */
export const shortMax = 350;

/**
 * The short digest for a push: all tasks, then the first line of each section while there is space. Words aren't cut: what doesn't
 * fit is on the page, and the text refers to it.
 */
export function shortDigest(parts: readonly SectionDraft[], first: string): string {
  const lines = parts.flatMap(({ heading, lines }) => (heading === first ? lines : lines.slice(0, 1)));
  let short = "";
  for (const [place, line] of lines.entries()) {
    const longer = short === "" ? line : `${short}\n${line}`;
    const isLast = place === lines.length - 1;
    if (longer.length + (isLast ? 0 : more.length) > shortMax) return short === "" ? clipLine(line) : `${short}${more}`;
    short = longer;
  }
  return short;
}
const more = `\n${texts.digest.moreOnPage}`;

function clipLine(line: string): string {
  const start = line.slice(0, shortMax - more.length - 1);
  return `${start.slice(0, Math.max(start.lastIndexOf(" "), start.length - 40))}…${more}`;
}
