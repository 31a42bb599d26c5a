import { z } from "zod";
import { noteShape, programmeChangeRequest } from "./trainingRequest.ts";

/** Lines of the training record's export as they are read back: the tables from which all others are made again. */

const moment = z.iso.datetime({ error: "must be a moment such as 2026-12-03T09:00:00.000Z" });
const id = z.string().regex(/^[A-Za-z0-9_-]{1,64}$/, "must be 1 to 64 letters, digits, _ or -");
const name = z.string().min(1, "must not be empty").max(60, "must be at most 60 characters");
const boot = z.string().regex(/^[A-Za-z0-9._~…-]{1,64}(#\d{1,7})?$/u, "must be a boot as the export has it");
const seq = z.int("must be a whole number").min(0, "must not be negative");
const label = z.string().min(1).max(200, "must be at most 200 characters");

/** JSON within a text, as the export has it. */
const json = z.string().transform((text, context): unknown => {
  try {
    return JSON.parse(text);
  } catch {
    context.addIssue("must be JSON");
    return z.NEVER;
  }
});

const fitted = z.union([z.literal(0), z.literal(1)]).transform((value) => value === 1);

/** What isn't named is made again from the rest, or belongs to the server that wrote it. */
export const importedLines = {
  feeders: z.object({
    ...{ feeder: id, name },
    ...{ button: fitted, detector: fitted, chute: fitted, perch: fitted, scale: fitted },
    portion_grams: z.number().gt(0).max(100).nullable(),
  }),
  changes: z.object({
    ...{ at: moment, by: name, reason: programmeChangeRequest.shape.reason, id: programmeChangeRequest.shape.id },
    ...{ undone_at: moment.nullable(), undone_by: name.nullable() },
    content: json.pipe(programmeChangeRequest.shape.content),
  }),
  notes: z.object({
    ...{ at: moment, by: name, text: noteShape.text, id: noteShape.id },
    ...{ feeder: id.nullable(), stage: id.nullable(), changed_at: moment.nullable(), still: id.nullable() },
    ...{ boot: boot.nullable(), seq: seq.nullable() },
    caps_on_dish: z.int().min(0).max(1_000).nullable(),
  }),
  photos: z.object({ id, note: noteShape.id, by: name }),
  stills: z.object({
    ...{ id, feeder: id, at: moment, boot: boot.nullable(), seq: seq.nullable() },
    event: z.string().min(1).max(40).nullable(),
    payment: z.enum(["paid", "unpaid", "earnsNothing"]).nullable(),
    ...{ who: label.nullable(), brought: label.nullable(), starred: fitted },
  }),
  events: z.object({
    ...{ at: moment, feeder: id, boot, seq, kind: z.string().min(1).max(40) },
    reported: json.pipe(z.looseObject({ seq, uptimeMs: z.number().min(0), kind: z.string() })),
  }),
} as const;

export type ImportedTable = keyof typeof importedLines;
export type ImportedLine<Table extends ImportedTable> = z.infer<(typeof importedLines)[Table]>;
export const importedTables = Object.keys(importedLines) as readonly ImportedTable[];
