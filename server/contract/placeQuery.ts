import { z } from "zod";

/**
 * Where a page of a list begins that goes backwards in time: `before` this moment, and with `beforeId`, after the row of this id at that
 * moment, so that rows of one moment are not lost between two pages.
 */
export const placeQuery = z
  .strictObject({
    before: z.iso.datetime({ offset: true, error: "must be a moment such as 2026-12-03T09:00:00Z" }).optional(),
    beforeId: z.string().min(1, "must not be empty").max(64, "must be at most 64 characters").optional(),
  })
  .refine(({ before, beforeId }) => beforeId === undefined || before !== undefined, {
    path: ["before"],
    message: "must come with beforeId",
  });
export type PlaceQuery = z.infer<typeof placeQuery>;
