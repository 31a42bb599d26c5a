import type { SectionDraft } from "./limitLines.ts";

/** What phones show of a notice before they cut it, seen on two kinds of phones; common practice, no source. */
export const shortMax = 350;

/**
 * The digest in one breath, for a push: what to do in full, then of each part its first line as long as there is room. Words
 * aren't cut in two: what doesn't fit is left to the page, and that is said.
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
const more = "\nMore on its page.";

function clipLine(line: string): string {
  const room = line.slice(0, shortMax - more.length - 1);
  return `${room.slice(0, Math.max(room.lastIndexOf(" "), room.length - 40))}…${more}`;
}
