import type { ExportTable } from "../../../server/domain/training/exportColumns.ts";

export const summary = "Download the record";
export const introText =
  "Each table as a file: CSV for a spreadsheet, JSON lines for a program. The dictionary says what each column means, and its unit.";
export const archiveText = "Download all as one file";
export const archiveHint =
  "A ZIP with each table, the dictionary, the notes' photographs and the cameras' pictures. It may be large.";
export const tableTexts: Readonly<Record<ExportTable, string>> = {
  days: "Days",
  events: "Events",
  promises: "Promises",
  bouts: "Bouts",
  stages: "Stages",
  changes: "Changes of the programme",
  feeders: "Feeders",
  notes: "Notes",
  photos: "Photographs of the notes",
  stills: "Stills",
};
export const formatTexts: Readonly<Record<"csv" | "jsonl", string>> = { csv: "CSV", jsonl: "JSON lines" };
export const dictionaryText = "Dictionary";
export const keyText = "A program of your own reads the same with an export key: [make one].";
