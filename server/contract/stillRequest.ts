import { z } from "zod";
import { plainLabel } from "../domain/pictures/stillLabels.ts";

const seq = z.coerce.number("must be a number").int("must be a whole number").min(0, "must not be negative");
const moment = z.iso.datetime({ offset: true, error: "must be a moment such as 2026-12-03T09:00:00Z" });

/** Which event a still belongs to, as its feeder names it in its reports. */
export const stillQuery = z
  .strictObject({
    boot: z.string().min(1, "must not be empty").max(64, "must be at most 64 characters").optional(),
    seq: seq.max(4_294_967_295, "must be at most 4294967295").optional(),
    /** When it was taken, for one without an event; left out: when it arrives. */
    at: moment.optional(),
  })
  .refine(({ boot, seq: number }) => boot === undefined || number !== undefined, {
    path: ["seq"],
    message: "must come with boot",
  })
  .refine(({ boot, seq: number }) => number === undefined || boot !== undefined, {
    path: ["boot"],
    message: "must come with seq",
  });
export type StillQuery = z.infer<typeof stillQuery>;

/** Empty or null: no label. */
const label = z.string().max(40, "must be at most 40 characters").transform(plainLabel).nullable();

export const stillChangeRequest = z.strictObject({
  starred: z.boolean().optional(),
  who: label.optional(),
  brought: label.optional(),
});
