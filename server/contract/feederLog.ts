import { z } from "zod";
import { type FaultKind, faultKinds } from "../domain/faults.ts";
import { isIntlZone } from "../domain/zone.ts";
import { feederSettingsRequest, outOfServiceRequest, yardRequest } from "./api.ts";
import { benchRequest } from "./benchRequest.ts";

/**
 * A feeder's log as it is handed out and replayed: one JSON value a line (application/x-ndjson), in time order. Each line
 * has a time, a feeder, and one thing that happened.
 */

const instantSchema = z.iso.datetime({ offset: true, error: "must be an ISO 8601 date and time with its zone" });
const feederSchema = z.string("must name the feeder").min(1, "must name the feeder").max(128);
const bySchema = z.string().min(1).max(60).optional();
const faultSchema = z.enum(faultKinds as [FaultKind, ...FaultKind[]]);

const exactlyOne = (request: object, of: readonly string[]) =>
  of.filter((name) => Object.hasOwn(request, name)).length === 1;
const massMax = 50_000;

/** As the keeper entered them; what is left out stays as it was, or gets the default. */
export const loggedSettings = z.strictObject({
  ...feederSettingsRequest.partial().shape,
  name: z.string().min(1).max(60).optional(), // as it was stored: an older one may hold what a new one may not
  // Wider than a request: a log may hold a zone from before they were checked more closely. UTC is used instead.
  zone: z.string().refine(isIntlZone, "must be an IANA time zone such as Europe/Stockholm").optional(),
  place: yardRequest.shape.place,
  practice: z.boolean().optional(),
  imported: z.literal(true).optional(), // a record from another server
  detectsSensors: z.boolean().optional(), // whether a sensor that sends readings is taken to be fitted
});
export type LoggedSettings = z.infer<typeof loggedSettings>;

const refillKinds = ["grams", "filled", "levelGrams"] as const;
const refillSchema = z
  .strictObject({
    at: instantSchema.optional(), // when it happened, where it was entered later
    grams: z.number().gt(0).max(massMax).optional(),
    filled: z.literal(true).optional(),
    levelGrams: z.number().min(0).max(massMax).optional(),
  })
  .refine((request) => exactlyOne(request, refillKinds), `must have exactly one of ${refillKinds.join(", ")}`);

const orderId = z.string().min(1).max(64);
const actNames = [
  "refill",
  "cleaned",
  "pause",
  "resume",
  "acknowledge",
  "shelve",
  "reset",
  "outOfService",
  "returnToService",
  "bench",
] as const;

const loggedAct = z
  .strictObject({
    by: bySchema,
    refill: refillSchema.optional(),
    cleaned: z.strictObject({ at: instantSchema.optional() }).optional(), // when it was, where it was entered later
    pause: z.strictObject({ id: orderId, until: instantSchema.nullish() }).optional(),
    resume: z.strictObject({ id: orderId }).optional(),
    // Which raise was acknowledged, and with which priority people were notified of it, where that is known.
    acknowledge: z
      .strictObject({
        fault: faultSchema,
        raisedAt: instantSchema.nullish(),
        notifiedPriority: z.enum(["urgent", "soon"]).optional(),
      })
      .optional(),
    shelve: z.strictObject({ fault: faultSchema, until: instantSchema }).optional(),
    reset: z.strictObject({ fault: faultSchema }).optional(),
    outOfService: z.strictObject({ fault: faultSchema, reason: outOfServiceRequest.shape.reason }).optional(),
    returnToService: z.strictObject({ fault: faultSchema }).optional(),
    bench: benchRequest.optional(),
  })
  .refine((request) => exactlyOne(request, actNames), `must have exactly one of ${actNames.join(", ")}`);
export type LoggedAct = z.infer<typeof loggedAct>;

/** By kind; the report itself is read by `readReport`, as when it arrives. */
export const logLineSchemas = {
  /** `bootNumber`: which start it is of, where several use one boot id; left out, the clocks decide. */
  report: z.object({
    receivedAt: instantSchema,
    feeder: feederSchema,
    bootNumber: z.int().min(1).max(1_000_000).optional(),
    report: z.unknown(),
  }),
  /** A report that the server refused, by its first problem: it shows that the feeder runs, and nothing else. */
  refused: z.object({
    at: instantSchema,
    feeder: feederSchema,
    refused: z.strictObject({ field: z.string().max(10_000), problem: z.string().max(10_000) }),
  }),
  settings: z.object({ at: instantSchema, feeder: feederSchema, by: bySchema, settings: loggedSettings }),
  keeper: z
    .object({ at: instantSchema, feeder: feederSchema, keeper: loggedAct })
    .refine(({ at, keeper: { refill } }) => !refill?.at || Date.parse(refill.at) <= Date.parse(at), {
      path: ["keeper", "refill", "at"],
      message: "lies after the moment at which it was entered",
    }),
  /** The waiting order was sent to the feeder over its socket. One that is sent with the answer to a report needs no line. */
  orders: z.object({ at: instantSchema, feeder: feederSchema, orders: z.literal("sent") }),
  /**
   * When the server checked the feeder by itself. From a line with `complete` on, the log holds all checks of this feeder. Before
   * it, and where there is none, a replay checks when a server would have checked.
   */
  check: z.object({ at: instantSchema, feeder: feederSchema, check: z.enum(["complete", "checked"]) }),
  /**
   * What the log had once. `readings`: from the begin until then, the readings, reports without events and checks were dropped, as set. `all`:
   * the lines from `at` until then can't be read any more. A replay goes on without them.
   */
  missing: z.object({
    at: instantSchema,
    feeder: feederSchema,
    missing: z.strictObject({ what: z.enum(["readings", "all"]), until: instantSchema }),
  }),
  /** What was really wrong, to measure how soon it is detected. */
  truth: z.object({
    at: instantSchema,
    feeder: feederSchema,
    truth: z.strictObject({ fault: faultSchema, phase: z.enum(["begin", "end"]) }),
  }),
};
export type LogLineKind = keyof typeof logLineSchemas;
