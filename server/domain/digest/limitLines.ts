export interface DigestSection {
  readonly heading: string;
  readonly lines: readonly string[];
  /** The page where each line is done, line by line; left out where the lines only tell. */
  readonly links?: readonly string[];
}

export interface SectionDraft extends DigestSection {
  /** What stands in the place of so many lines that had no room; null where every line is shown, room or not. */
  readonly omittedText: ((count: number) => string) | null;
}

/** Lines that a phone shows at once under their headings. Common practice, no source: 844 points high, lines of one to two rows. */
export const linesMax = 14;

/**
 * Parts with as many of their lines as fit together on a screen: each has one at least, and what room is left goes to the first
 * ones first, since they stand by how much they need the keeper. Nothing is left out silently. A part with nothing to say is gone.
 */
export function limitLines(parts: readonly SectionDraft[]): readonly DigestSection[] {
  const told = parts.filter(({ lines }) => lines.length > 0);
  const given = told.map(({ lines, omittedText }) => (omittedText === null ? lines.length : 1));
  let room = linesMax - given.reduce((sum, count) => sum + count, 0);
  for (const most of [firstShare, linesMax]) {
    for (const [place, { lines }] of told.entries()) {
      const more = Math.min(room, Math.min(lines.length, most) - (given[place] ?? 0));
      if (more <= 0) continue;
      given[place] = (given[place] ?? 0) + more;
      room -= more;
    }
  }
  return told.map(({ heading, lines, omittedText, links }, place) => ({
    heading,
    lines: omittedText === null ? lines : truncateLines(lines, given[place] ?? 1, omittedText),
    ...(links === undefined ? {} : { links }),
  }));
}

/** So many lines each part may have before another gets more. */
const firstShare = 4;

function truncateLines(
  lines: readonly string[],
  room: number,
  left: NonNullable<SectionDraft["omittedText"]>,
): readonly string[] {
  if (lines.length <= room) return lines;
  // A single line says what it says; that others are missing is said in the same breath.
  if (room <= 1) return [`${lines[0] ?? ""} ${left(lines.length - 1)}`];
  return [...lines.slice(0, room - 1), left(lines.length - room + 1)];
}

export interface FeederLine {
  readonly name: string;
  readonly text: string; // after "Rowan: "
}

/** One line for each thing that is said, with the names of all that it is said of: "Rowan and Larch: as usual." */
export function groupLines(entries: readonly FeederLine[]): readonly string[] {
  const names = new Map<string, string[]>();
  for (const { name, text } of entries) names.set(text, [...(names.get(text) ?? []), name]);
  return [...names].map(([words, said]) => `${listNames(said)}: ${words}`);
}

/** "Rowan", "Rowan and Larch", "Rowan, Larch and 8 more" */
export function listNames(names: readonly string[]): string {
  if (names.length <= 1) return names[0] ?? "";
  if (names.length <= namedMax) return `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`;
  return `${names.slice(0, namedMax - 1).join(", ")} and ${names.length - namedMax + 1} more`;
}
const namedMax = 3;
