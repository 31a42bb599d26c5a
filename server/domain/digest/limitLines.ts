import { texts } from "../../text/index.ts";
export interface DigestSection {
  readonly heading: string;
  readonly lines: readonly string[];
  /** The page where each line is done, line by line; left out where the lines are only information. */
  readonly links?: readonly string[];
}

export interface SectionDraft extends DigestSection {
  /** Replaces that many lines that don't fit; null where every line is shown. */
  readonly omittedText: ((count: number) => string) | null;
}

/** Lines that a phone shows at once under their headings. Common practice, no source: 844 points high, lines of one to two rows. */
export const linesMax = 14;

/**
 * Sections with as many of their lines as fit together on a screen: each has one at least, and the remaining space goes to the first
 * sections first, since they are ordered by importance. Omitted lines are counted in the text. Empty sections are left out.
 */
export function limitLines(parts: readonly SectionDraft[]): readonly DigestSection[] {
  const shown = parts.filter(({ lines }) => lines.length > 0);
  const lineCounts = shown.map(({ lines, omittedText }) => (omittedText === null ? lines.length : 1));
  let linesLeft = linesMax - lineCounts.reduce((sum, count) => sum + count, 0);
  for (const most of [firstShare, linesMax]) {
    for (const [place, { lines }] of shown.entries()) {
      const more = Math.min(linesLeft, Math.min(lines.length, most) - (lineCounts[place] ?? 0));
      if (more <= 0) continue;
      lineCounts[place] = (lineCounts[place] ?? 0) + more;
      linesLeft -= more;
    }
  }
  return shown.map(({ heading, lines, omittedText, links }, place) => ({
    heading,
    lines: omittedText === null ? lines : truncateLines(lines, lineCounts[place] ?? 1, omittedText),
    ...(links === undefined ? {} : { links }),
  }));
}

/** As many lines each section may have before another one gets more. */
const firstShare = 4;

function truncateLines(
  lines: readonly string[],
  lineCount: number,
  omittedText: NonNullable<SectionDraft["omittedText"]>,
): readonly string[] {
  if (lines.length <= lineCount) return lines;
  // The number of omitted lines follows on the same line.
  if (lineCount <= 1) return [`${lines[0] ?? ""} ${omittedText(lines.length - 1)}`];
  return [...lines.slice(0, lineCount - 1), omittedText(lines.length - lineCount + 1)];
}

export interface FeederLine {
  readonly name: string;
  readonly text: string; // follows "Rowan: "
}

/** One line for each different text, with the names of all its feeders: "Rowan and Larch: as usual." */
export function groupLines(entries: readonly FeederLine[]): readonly string[] {
  const names = new Map<string, string[]>();
  for (const { name, text } of entries) names.set(text, [...(names.get(text) ?? []), name]);
  return [...names].map(([text, ofText]) => texts.digest.feederLine(listNames(ofText), text));
}

/** "Rowan", "Rowan and Larch", "Rowan, Larch and 8 more" */
export function listNames(names: readonly string[]): string {
  if (names.length <= 1) return names[0] ?? "";
  if (names.length <= namedMax) return texts.lists.and(names.slice(0, -1).join(", "), names.at(-1) ?? "");
  return texts.lists.andMore(names.slice(0, namedMax - 1).join(", "), names.length - namedMax + 1);
}
const namedMax = 3;
