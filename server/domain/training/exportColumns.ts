/** The tables of an export, each with its columns in order. Their units and meanings: text/en/trainingExport.ts. */
export const exportColumns = {
  days: [
    "date",
    "stage",
    "trials",
    "successes",
    "acts",
    "promised",
    "paid",
    "latency_p50_ms",
    "latency_p95_ms",
    "latency_worst_ms",
    "free_portions",
    "unexplained_portions",
    "rejected_deposits",
    "judged_share",
    "air_celsius",
  ],
  events: [
    "at",
    "date",
    "feeder",
    "boot",
    "seq",
    "kind",
    "act",
    "grams",
    "pieces",
    "earns",
    "paid_by",
    "latency_ms",
    "reported",
  ],
  promises: ["feeder", "at", "act", "outcome", "latency_ms", "cause"],
  bouts: ["feeder", "from", "to", "visits", "presses", "deposits"],
  stages: ["stage", "name", "from", "to", "distance_cm", "caps_laid", "slot_opening_mm", "grams_each"],
  changes: ["at", "by", "text", "reason", "undone_at", "undone_by", "id", "content"],
  notes: ["at", "by", "text", "feeder", "stage", "boot", "seq", "caps_on_dish", "changed_at", "id", "still"],
  photos: ["note", "at", "by", "picture", "sha256", "id"],
  feeders: ["feeder", "name", "button", "detector", "chute", "perch", "scale", "portion_grams"],
  stills: ["feeder", "at", "boot", "seq", "event", "payment", "who", "brought", "starred", "picture", "sha256", "id"],
} as const satisfies Record<string, readonly string[]>;

export type ExportTable = keyof typeof exportColumns;
export const exportTableNames = Object.keys(exportColumns) as readonly ExportTable[];

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
  `${JSON.stringify(Object.fromEntries(exportColumns[table].map((name, index) => [name, row[index] ?? null])))}\n`;
