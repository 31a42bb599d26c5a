import { z } from "zod";
import { type FoodKind, foodKinds } from "../domain/food.ts";
import { foodEnergy, type Species, speciesNames } from "../domain/training/ration.ts";
import { localDate, localTime } from "./localTime.ts";

/** The rules of a feeding plan as a keeper enters them. */

const grams = (most: number) => z.number().gt(0, "must be more than 0 g").max(most, `must be at most ${most} g`);
const meanMinutes = z.number().min(10, "must be at least 10 minutes").max(600, "must be at most 600 minutes");

export const freeSchedule = z.discriminatedUnion("kind", [
  z.strictObject({ kind: z.literal("variableTime"), meanMinutes }),
  z
    .strictObject({ kind: z.literal("jitter"), meanMinutes, byMinutes: z.number().min(0).max(300) })
    .refine(({ meanMinutes: mean, byMinutes: by }) => mean - by >= 5, {
      path: ["byMinutes"],
      message: "must leave at least 5 minutes between two portions",
    }),
]);

const margin = z.number().min(0).max(240, "must be at most 240 minutes");
const free = z.strictObject({
  eachGrams: grams(50),
  schedule: freeSchedule,
  afterDawnMinutes: margin,
  beforeDuskMinutes: margin,
});

export const earnedFood = z.strictObject({
  ratio: z.strictObject({ kind: z.enum(["fixed", "variable"]), of: z.int().min(1).max(20, "must be at most 20") }),
  atLeastSecondsBetween: z.number().min(0).max(3_600),
});

/** Food ends over so many days from this one on. Longer than four weeks, the last weeks would be a portion now and then. */
const taper = z.strictObject({
  from: localDate,
  days: z.int("must be a whole number").min(7, "must be at least 7 days").max(28, "must be at most 28 days"),
});

/** `seed`: left out, it stays as it is, or is made from the feeder's name. `taper`: left out, feeding doesn't end. */
export const feedingRequest = z.strictObject({
  seed: z.int().min(0).max(4_294_967_295).optional(),
  free: free.nullable(),
  press: earnedFood.nullable(),
  deposit: earnedFood.nullable(),
  rationGrams: grams(5_000),
  paysDepositsOverRation: z.boolean(),
  frostFloor: z.strictObject({ belowCelsius: z.number().min(-50).max(5), grams: grams(500) }).nullable(),
  quietTimes: z
    .array(
      z.strictObject({ from: localTime, to: localTime }).refine(({ from, to }) => from !== to, {
        path: ["to"],
        message: "must be another time than its begin",
      }),
    )
    .max(6, "must be at most 6"),
  taper: taper.optional(),
});
export type FeedingRequest = z.infer<typeof feedingRequest>;

const birdsOf = z.strictObject({
  species: z.enum(speciesNames as [Species, ...Species[]]),
  count: z.int("must be a whole number").min(1, "must be at least 1").max(200, "must be at most 200"),
});

/** The birds that come, and what they get. `energyKilojoulesPerGram`: as the food's label has it, where its kind doesn't say. */
export const rationRequest = z
  .strictObject({
    birds: z.array(birdsOf).min(1, "must name at least one kind of bird").max(speciesNames.length),
    food: z.enum(foodKinds as [FoodKind, ...FoodKind[]]),
    energyKilojoulesPerGram: z.number().min(1, "must be at least 1").max(40, "must be at most 40").optional(),
    share: z.number().min(0.05, "must be at least 0.05").max(0.2, "must be at most 0.2").default(0.15),
  })
  .refine(({ food, energyKilojoulesPerGram }) => energyKilojoulesPerGram !== undefined || foodEnergy[food] !== null, {
    path: ["energyKilojoulesPerGram"],
    message: "must be entered for such food: see its label",
  });
export type RationRequest = z.infer<typeof rationRequest>;
