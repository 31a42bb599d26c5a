import { z } from "zod";
import { stageKinds } from "../domain/training/stage.ts";
import { earnedFood, freeSchedule } from "./feedingRequest.ts";

/** What a keeper changes of a yard's training programme. Times are ISO 8601; units are in the names. */

const id = z.string().regex(/^[A-Za-z0-9_-]{1,64}$/, "must be 1 to 64 letters, digits, _ or -");
const share = (least: number, most: number) =>
  z.number("must be a number").min(least, `must be at least ${least}`).max(most, `must be at most ${most}`);
const centimetres = z.number().min(0, "must not be negative").max(10_000, "must be at most 10000 cm");
const count = (most: number) => z.int().min(0, "must not be negative").max(most, `must be at most ${most}`);

export const stageParameters = z.strictObject({
  distanceCm: centimetres.nullable(),
  capsLaid: count(1_000).nullable(),
  capsWhere: z.string().max(200, "must be at most 200 characters").nullable(),
  slotOpeningMm: z.number().min(1, "must be at least 1 mm").max(500, "must be at most 500 mm").nullable(),
  gramsEach: z.number().gt(0, "must be more than 0 g").max(50, "must be at most 50 g").nullable(),
});
export type StageParametersRequest = z.infer<typeof stageParameters>;

const criterion = z
  .strictObject({
    share: share(0.05, 0.99),
    chanceShare: share(0.01, 0.9),
    actsADay: count(500),
    days: z.int().min(1, "must be at least 1").max(14, "must be at most 14"),
  })
  .refine((of) => of.chanceShare < of.share, { path: ["chanceShare"], message: "must be below the share" });

const usualDays = z
  .strictObject({ from: z.int().min(1).max(120), to: z.int().min(1).max(180) })
  .refine(({ from, to }) => from <= to, { path: ["to"], message: "must not be before its begin" });

export const stageRequest = z.strictObject({
  id,
  name: z.string().trim().min(1, "must not be empty").max(60, "must be at most 60 characters"),
  kind: z.enum(stageKinds),
  earns: z.strictObject({
    free: freeSchedule.nullable(),
    press: earnedFood.nullable(),
    deposit: earnedFood.nullable(),
  }),
  parameters: stageParameters,
  criterion,
  stepBack: z.strictObject({ share: share(0.01, 0.9) }),
  usualDays,
});
export type StageRequest = z.infer<typeof stageRequest>;

const stagesMax = 12;
const areDifferent = (stages: readonly { readonly id: string }[]) =>
  new Set(stages.map((stage) => stage.id)).size === stages.length;

const content = z.discriminatedUnion("kind", [
  z.strictObject({
    kind: z.literal("stageStarted"),
    stage: id,
    /** Whether each feeder's plan takes over what the stage gives for. */
    changesPlans: z.boolean(),
  }),
  z.strictObject({ kind: z.literal("parametersChanged"), stage: id, parameters: stageParameters }),
  z.strictObject({
    kind: z.literal("stagesEdited"),
    stages: z
      .array(stageRequest)
      .min(1, "must have at least 1 stage")
      .max(stagesMax, `must have at most ${stagesMax} stages`)
      .refine(areDifferent, "must have an id of its own for each stage"),
  }),
  z.strictObject({ kind: z.literal("keptMinChanged"), keptMin: share(0.5, 1) }),
]);

export const programmeChangeRequest = z.strictObject({
  id: z.string().regex(/^[A-Za-z0-9_-]{8,64}$/, "must be 8 to 64 letters, digits, _ or -"),
  /** When it was done at the feeder; left out: now. */
  at: z.iso.datetime({ offset: true }).optional(),
  reason: z.string().trim().min(1, "must not be empty").max(500, "must be at most 500 characters"),
  content,
});
export type ProgrammeChangeRequest = z.infer<typeof programmeChangeRequest>;

const noteText = z.string().trim().min(1, "must not be empty").max(4_000, "must be at most 4000 characters");

const noteFields = z.strictObject({
  id: z.string().regex(/^[A-Za-z0-9_-]{8,64}$/, "must be 8 to 64 letters, digits, _ or -"),
  /** When it was; left out: now. */
  at: z.iso.datetime({ offset: true }).optional(),
  text: noteText,
  feeder: z.string().max(64).optional(),
  stage: id.optional(),
  /** What it is written at; then it is about the still's feeder, and, without `at`, about the still's moment. */
  still: z.string().max(64).optional(),
  /** Of `feeder`, what it is written at where there is no still of it. */
  event: z.strictObject({ boot: z.string().min(1).max(80), seq: z.int().min(0).max(4_294_967_295) }).optional(),
  /** Caps that lay on the dish instead of in the slot; left out: not counted. */
  capsOnDish: z
    .int("must be a whole number")
    .min(0, "must not be negative")
    .max(1_000, "must be at most 1000")
    .optional(),
});
export const noteRequest = noteFields.refine(({ event, feeder }) => event === undefined || feeder !== undefined, {
  path: ["feeder"],
  message: "must come with event",
});
export const noteShape = noteFields.shape;
export type NoteRequest = z.infer<typeof noteRequest>;

export const noteChangeRequest = z.strictObject({ text: noteText });
