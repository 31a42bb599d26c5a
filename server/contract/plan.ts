import { z } from "zod";

/** The feeding plan as a feeder gets it: it carries it out by itself, also without a network. */

const epochSeconds = z.number().int().meta({ description: "Seconds since 1970-01-01 UTC." });
const timesOfDay = (text: string) =>
  z.array(z.number().int()).meta({ description: `${text} In seconds after \`from\`.` });

const sentDay = z.object({
  from: epochSeconds,
  to: epochSeconds,
  portionsMax: z
    .number()
    .int()
    .meta({ description: "The ration: after so many portions, free and earned together, nothing more is free." }),
  free: timesOfDay("When to give `portionsEach` portions of free food."),
  frost: timesOfDay(
    "When to give one portion more if the air is colder than `frostBelowCelsius`, whatever the ration.",
  ),
});

const sentEarned = z
  .object({
    ratios: z.array(z.number().int()).meta({
      description:
        "How many acts each portion takes: the first portion the first number, and after the last again the first.",
    }),
    betweenSeconds: z
      .number()
      .meta({ description: "An act that comes sooner after the last paid one counts for nothing." }),
  })
  .nullable();

export const sentPlanSchema = z.object({
  version: z.number().int().meta({ description: "Send it back as `readings.planVersion` once the plan is stored." }),
  portionsEach: z.number().int(),
  frostBelowCelsius: z.number().nullable(),
  paysDepositsOverRation: z.boolean().meta({ description: "A deposit beyond the ration is paid all the same." }),
  days: z
    .array(sentDay)
    .meta({ description: "Each day stands for itself. On a day that is not among them nothing is free." }),
  press: sentEarned.meta({ description: "What a press earns; null: nothing." }),
  deposit: sentEarned.meta({ description: "What a deposit earns; null: nothing." }),
});
export type SentPlan = z.infer<typeof sentPlanSchema>;
