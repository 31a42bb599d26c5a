/**
 * What the training record exports, table by table: the columns in their order, each with its unit and what it means. It is the data dictionary
 * of the files, and the files are made by it.
 */
export interface ExportColumn {
  readonly name: string;
  readonly unit: string; // "" for text, "1" for shares
  readonly meaning: string;
}

const column = (name: string, unit: string, meaning: string): ExportColumn => ({ name, unit, meaning });

const date = column("date", "local date", "Day in the yard's time zone.");
const feeder = column("feeder", "", "Id of the feeder.");
const at = column("at", "UTC", "Moment, ISO 8601.");
const share = "share, 0 to 1";

export const exportTables = {
  days: [
    date,
    column("stage", "", "Id of the stage in force at noon."),
    column("trials", "count", "Bouts of visits (or portions of free food, in a stage of free food); empty: not seen."),
    column("successes", "count", "Trials with at least one act of the stage."),
    column("acts", "count", "Acts of the stage outside of pauses and known faults."),
    column("promised", "count", "Presses and deposits that were owed a portion."),
    column("paid", "count", "Of them, those that got one that was not seen to be empty."),
    column("latency_p50_ms", "ms", "Median from the act to the start of the motor, of paid ones."),
    column("latency_p95_ms", "ms", "95th percentile of the same (Hyndman and Fan 1996, type 7)."),
    column("latency_worst_ms", "ms", "The longest of the same."),
    column("free_portions", "count", "Portions that no act had earned: plan, or keeper."),
    column("unexplained_portions", "count", "Portions for an act that no event shows."),
    column("rejected_deposits", "count", "What the slot's detector saw and did not take for a cap."),
    column("judged_share", share, "Part of the birds' day without pauses, known faults and silence."),
    column("air_celsius", "°C", "Mean air temperature of the birds' day, where it was reported."),
  ],
  promises: [
    feeder,
    at,
    column("act", "", "press or deposit"),
    column("outcome", "", "paid, empty (no food was seen to fall), cutShort, or noPortion"),
    column("latency_ms", "ms", "From the act to the start of the motor; empty: no portion."),
    column("cause", "", "Fault that stood then, where one did; empty: nothing reported explains it."),
  ],
  bouts: [
    feeder,
    column("from", "UTC", "First event of the bout, ISO 8601."),
    column("to", "UTC", "Last event of the bout; five minutes without one end it."),
    column("visits", "count", "Visits in it."),
    column("presses", "count", "Presses in it."),
    column("deposits", "count", "Deposits in it that were not rejected."),
  ],
  stages: [
    column("stage", "", "Id of the stage."),
    column("name", "", "As the keeper calls it."),
    column("from", "UTC", "When it was started, ISO 8601."),
    column("to", "UTC", "When another was started; empty: it is the present one."),
    column("distance_cm", "cm", "Of the button or the caps to the dish, at the end of the stage."),
    column("caps_laid", "count", "Caps that the keeper laid out."),
    column("slot_opening_mm", "mm", "Width of the slot."),
    column("grams_each", "g", "Weight of a portion; empty: as the feeder's settings have it."),
  ],
  changes: [
    at,
    column("by", "", "Who entered it."),
    column("text", "", "What was changed."),
    column("reason", "", "In the keeper's words."),
    column("undone_at", "UTC", "When it was undone; empty: it is in force."),
  ],
  notes: [
    at,
    column("by", "", "Who wrote it."),
    column("text", "", "The note."),
    column("feeder", "", "Id of the feeder that it is about."),
    column("stage", "", "Id of the stage that it is about."),
  ],
} as const satisfies Record<string, readonly ExportColumn[]>;

export type ExportTable = keyof typeof exportTables;
export const exportTableNames = Object.keys(exportTables) as readonly ExportTable[];

export type ExportValue = string | number | null;
export type ExportRow = readonly ExportValue[]; // in the order of the table's columns

/** A line of CSV by RFC 4180, with the line end. A text that a spreadsheet would take for a formula gets an apostrophe in front. */
export const csvLine = (row: ExportRow): string => `${row.map(csvField).join(",")}\r\n`;

function csvField(value: ExportValue): string {
  if (value === null) return "";
  if (typeof value === "number") return String(value);
  const safe = /^[=+\-@\t\r]/.test(value) ? `'${value}` : value;
  return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}

/** A JSON object of the row, by column, with the line end. */
export const jsonLine = (table: ExportTable, row: ExportRow): string =>
  `${JSON.stringify(Object.fromEntries(exportTables[table].map(({ name }, index) => [name, row[index] ?? null])))}\n`;
