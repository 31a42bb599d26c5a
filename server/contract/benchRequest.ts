import { z } from "zod";
import { actsMax, portionsMax } from "../domain/benchRun/benchRun.ts";

/** What a keeper does about a bench run of a feeder. A repeat changes nothing: it names the run and the step. */

const count = (most: number) => z.int().min(0).max(most);

export const benchRequest = z.strictObject({
  run: z
    .string()
    .min(8, "must have at least 8 characters")
    .max(50, "must have at most 50 characters")
    .regex(/^[A-Za-z0-9_-]+$/, "must be letters, digits, _ or -"),
  what: z.discriminatedUnion("kind", [
    z.strictObject({
      kind: z.literal("start"),
      quietMinutes: z.number().min(0).max(60),
      portions: count(portionsMax),
      caps: count(actsMax),
      presses: count(actsMax),
      knownGrams: z.number().gt(0).max(20_000).nullable(),
      soakHours: z.number().min(0).max(72),
    }),
    z.strictObject({
      kind: z.literal("next"),
      step: z.enum(["weigh", "caps", "presses", "knownMass"]),
      totalGrams: z.number().min(0).max(20_000).nullish(),
      emptySeen: count(portionsMax).nullish(),
    }),
    z.strictObject({ kind: z.literal("stop") }),
  ]),
});
export type BenchRequest = z.infer<typeof benchRequest>;
