import type { FaultRings, Pair, RingComparison, RingCounts } from "../domain/comparison/compareRings.ts";
import type { Ring } from "../domain/comparison/ringRecord.ts";
import { between, type Instant, inDays, inHours, isoOf } from "../domain/instant.ts";

export interface ComparedReplays {
  readonly names: Pair<string>; // such as the files with their settings
  readonly from: Instant;
  readonly to: Instant;
  readonly feeders: readonly string[];
  readonly readingsDropped: boolean;
}

/** What rang in two replays as a table for a terminal, a line each. */
export function comparisonTable(comparison: RingComparison, compared: ComparedReplays): readonly string[] {
  const { names, from, to, feeders, readingsDropped } = compared;
  const span = `${inDays(between(from, to)).toFixed(1)} days from ${isoOf(from)} to ${isoOf(to)}: ${feeders.join(", ")}`;
  return [
    span,
    ...(readingsDropped ? ["Before that the log has no readings any more, so that nothing can be judged again."] : []),
    ...names.map((name, index) => `${sideName(index)}: ${name}`),
    "",
    ...tableRows(comparison),
    ...names.flatMap((_, index) => onlyLines(index, comparison.only[index] ?? [], feeders.length > 1)),
  ];
}

const sideName = (index: number): string => "AB".charAt(index);

const heads = ["alarm", "", "urgent", "soon", "note", "first", "last", "hours"] as const;

function tableRows({ faults, totals }: RingComparison): readonly string[] {
  const ofFaults = faults.flatMap(({ fault, sides }) =>
    sides.map((side, index) => [index === 0 ? fault : "", sideName(index), ...sideCells(side)]),
  );
  const ofTotals = totals.map((counts, index) => [
    index === 0 ? "(all)" : "",
    sideName(index),
    ...countCells(counts),
    ...["", "", ""],
  ]);
  return aligned([[...heads], ...ofFaults, ...ofTotals]);
}

const sideCells = ({ counts, firstAt, lastAt, hoursInForce }: FaultRings): readonly string[] => [
  ...countCells(counts),
  momentCell(firstAt),
  momentCell(lastAt),
  hoursInForce.toFixed(1),
];

const countCells = ({ urgent, soon, note }: RingCounts): readonly string[] => [`${urgent}`, `${soon}`, `${note}`];
const momentCell = (at: Instant | null): string => (at === null ? "-" : minuteText(at));
const minuteText = (at: Instant): string => `${isoOf(at).slice(0, 16)}Z`;

const textColumns: ReadonlySet<string> = new Set(["alarm", "", "first", "last"]);

function aligned(rows: readonly (readonly string[])[]): readonly string[] {
  const widths = heads.map((_, column) => Math.max(...rows.map((row) => row[column]?.length ?? 0)));
  return rows.map((row) =>
    row
      .map((cell, column) => {
        const width = widths[column] ?? 0;
        return textColumns.has(heads[column] ?? "") ? cell.padEnd(width) : cell.padStart(width);
      })
      .join("  ")
      .trimEnd(),
  );
}

function onlyLines(side: number, rings: readonly Ring[], showFeeder: boolean): readonly string[] {
  if (rings.length === 0) return [];
  const lines = rings.map(({ at, feeder, fault, priority, endedAt }) => {
    const lasted = endedAt === null ? "until the end" : `${inHours(between(at, endedAt)).toFixed(1)} h`;
    return ["", minuteText(at), ...(showFeeder ? [feeder] : []), fault, priority, lasted].join("  ");
  });
  return ["", `Only in ${sideName(side)}:`, ...lines];
}
