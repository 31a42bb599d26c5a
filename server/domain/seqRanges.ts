/** Event numbers as they are stored with a report: `3-7 9` is 3, 4, 5, 6, 7 and 9. */

export interface SeqRange {
  readonly from: number;
  readonly to: number;
}

/** @param seqs ascending */
export function rangesOf(seqs: readonly number[]): readonly SeqRange[] {
  const ranges: { from: number; to: number }[] = [];
  for (const seq of seqs) {
    const last = ranges.at(-1);
    if (last !== undefined && seq === last.to + 1) last.to = seq;
    else ranges.push({ from: seq, to: seq });
  }
  return ranges;
}

export const textOfRanges = (ranges: readonly SeqRange[]): string =>
  ranges.map(({ from, to }) => (from === to ? `${from}` : `${from}-${to}`)).join(" ");

export function readRanges(text: string): readonly SeqRange[] {
  if (text === "") return [];
  return text.split(" ").map((part) => {
    const [from, to = from] = part.split("-").map(Number);
    return { from: from as number, to: to as number };
  });
}
