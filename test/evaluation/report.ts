/** What one part of the judge found: tables to be read, and the figures that a quick test can hold it to. */
export interface EvaluationResult {
  readonly tables: string;
  readonly figures: Readonly<Record<string, number>>;
}

/** Plain tables for a terminal and for test/measured.md alike. */
export function formatTable(
  title: string,
  columns: readonly string[],
  rows: readonly (readonly (string | number)[])[],
): string {
  const cells = rows.map((row) => row.map((cell) => (typeof cell === "number" ? formatNumber(cell) : cell)));
  const widths = columns.map((name, column) =>
    Math.max(name.length, ...cells.map((row) => (row[column] ?? "").length)),
  );
  const line = (row: readonly string[]) =>
    `| ${row.map((cell, column) => cell.padEnd(widths[column] ?? 0)).join(" | ")} |`;
  const rule = `| ${widths.map((width) => "-".repeat(width)).join(" | ")} |`;
  return [`### ${title}`, "", line(columns), rule, ...cells.map(line), ""].join("\n");
}

/** Three figures are all that such a study is good for. */
export function formatNumber(value: number): string {
  if (!Number.isFinite(value)) return "-";
  if (Math.abs(value) >= 100) return Math.round(value).toString();
  return Number(value.toPrecision(3)).toString();
}

export const percent = (share: number): string => (Number.isFinite(share) ? `${(100 * share).toFixed(1)} %` : "-");
