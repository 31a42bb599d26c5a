import { z } from "zod";

/**
 * What a feeder may report, version 1. JSON numbers have their unit in their name. Every reading is optional: a feeder may have
 * one button and no scale. Unknown fields and kinds are stored, not refused.
 */

export const eventsPerReportMax = 2_000;
export const reportBytesMax = 1_048_576;

const bootId = z
  .string()
  .regex(/^[A-Za-z0-9._~…-]{1,64}$/u, "must be 1 to 64 letters, digits or . _ ~ -")
  .meta({ description: "A random id; the feeder chooses a new one at each start.", example: "b-7f3a91c2" });

const uptimeMs = z
  .int("must be a whole number of milliseconds")
  .min(0, "must not be negative")
  .max(10 ** 13, "must be milliseconds since the feeder's start")
  .meta({ description: "When it happened, by the feeder's uptime." });

export const seqMax = 2 ** 52;

const seq = z
  .int("must be a whole number")
  .min(1, "must count from 1")
  .max(seqMax, "is too large")
  .meta({ description: "Counts from 1 within one boot. (feeder, boot, seq) is an event's identity." });

const between = (low: number, high: number) => {
  const range = `must be between ${low} and ${high}`;
  return z.number("must be a number").min(low, range).max(high, range).nullish();
};
/**
 * The range that such a sensor can measure. Any other value (a number outside, text, NaN) is a rejected reading, which the answer
 * names. The rest of the report is stored.
 */
const reading = (low: number, high: number, description: string) => between(low, high).meta({ description });
const count = z.int("must be a whole number").min(0, "must not be negative").nullish();

export const readingsSchema = z.looseObject({
  hopperGrams: reading(-2_000, 100_000, "What the load cell under the hopper measures, without the tare."),
  airCelsius: reading(-70, 70, "Air temperature in the shade."),
  insideCelsius: reading(-70, 90, "Temperature inside the feeder's box."),
  lidCelsius: reading(-80, 100, "Temperature of the lid, the surface that frosts first."),
  humidityPercent: reading(0, 105, "Relative humidity over liquid water."),
  supplyVolts: reading(0, 60, "Supply rail; the lowest since the last report if the feeder records it."),
  batteryVolts: reading(0, 120, "Voltage between the battery's terminals."),
  batteryCelsius: reading(-70, 90, "Temperature at the battery, not of the air."),
  chargeMilliamps: reading(-100_000, 100_000, "Current into the battery."),
  signalDbm: reading(-130, 10, "Radio signal strength."),
  spooled: count.meta({ description: "Events still waiting on the feeder." }),
  counts: z
    .looseObject({ button: count, detector: count, chute: count, perch: count }, "must be an object")
    .nullish()
    .meta({ description: "Running totals since this boot, by sensor." }),
  paused: z
    .boolean("must be true or false")
    .nullish()
    .meta({ description: "Whether the feeder is paused now. The keeper sees this reading, not what was ordered." }),
  planVersion: count.meta({ description: "The version of the plan that the feeder follows, if it has one." }),
});

const recorded = { seq, uptimeMs };
const optionalNumber = between;

export const eventSchemas = {
  portion: z.looseObject({
    ...recorded,
    kind: z.literal("portion"),
    cause: z.enum(["timer", "press", "deposit", "keeper"]).meta({ description: "Why it was given." }),
    paysFor: seq.nullish().meta({ description: "The seq of the press or deposit that it pays." }),
    motorMs: optionalNumber(0, 600_000).meta({ description: "How long the motor ran." }),
    meanMilliamps: optionalNumber(0, 100_000).meta({ description: "Mean motor current." }),
    peakMilliamps: optionalNumber(0, 100_000).meta({ description: "Highest motor current." }),
    chuteCount: count.meta({ description: "Pieces that the chute sensor counted." }),
    lowestVolts: optionalNumber(0, 60).meta({
      description: "Least that the supply gave while the motor ran: a sag of a tenth of a second, which no mean shows.",
    }),
    cutShort: z.boolean("must be true or false").nullish().meta({
      description:
        "The motor was started, and a power cut, a pause or a fault ended the portion: how much fell is not known.",
    }),
  }),
  press: z.looseObject({ ...recorded, kind: z.literal("press") }),
  deposit: z.looseObject({
    ...recorded,
    kind: z.literal("deposit"),
    metal: z.boolean("must be true or false").nullish().meta({ description: "Whether the detector found metal." }),
    signal: optionalNumber(0, 1).meta({ description: "How strong the detector's signal was; 1 is full scale." }),
    chute: z.boolean("must be true or false").nullish().meta({ description: "Whether something fell into the box." }),
  }),
  visit: z.looseObject({ ...recorded, kind: z.literal("visit") }),
  lid: z.looseObject({
    ...recorded,
    kind: z.literal("lid"),
    open: z.boolean("must be true or false").nullish().meta({ description: "Whether the lid is open now." }),
  }),
  refill: z.looseObject({
    ...recorded,
    kind: z.literal("refill"),
    grams: optionalNumber(0, 100_000).meta({ description: "How much food was added." }),
    full: z.boolean("must be true or false").nullish().meta({ description: "Whether the hopper is full now." }),
  }),
  order: z.looseObject({
    ...recorded,
    kind: z.literal("order"),
    order: z.string().min(1).max(64).meta({ description: "The id of the order that was carried out or refused." }),
    outcome: z.enum(["done", "refused"]).meta({ description: "What the feeder made of the order." }),
    problem: z.string().max(500).nullish().meta({ description: "Why it was refused, as text for the keeper." }),
  }),
  trouble: z.looseObject({
    ...recorded,
    kind: z.literal("trouble"),
    words: z.string().min(1).max(500).meta({ description: "What is wrong, as text for the keeper." }),
  }),
};

/** A kind that this version doesn't know is stored as it came, so that nothing from a newer feeder is lost. */
export const unknownEventSchema = z.looseObject({
  ...recorded,
  kind: z.string().min(1).max(40).meta({ description: "A kind that this server doesn't know is stored as it is." }),
});

const eventSchema = z.union([
  z.discriminatedUnion("kind", [
    eventSchemas.portion,
    eventSchemas.press,
    eventSchemas.deposit,
    eventSchemas.visit,
    eventSchemas.lid,
    eventSchemas.refill,
    eventSchemas.order,
    eventSchemas.trouble,
  ]),
  unknownEventSchema,
]);

/**
 * A problem here refuses the whole report. Readings and events are then read one by one, and `sentAt`, from which nothing is
 * concluded, is rejected alone.
 */
export const envelopeSchema = z.looseObject({
  boot: bootId,
  sentUptimeMs: uptimeMs
    .nullable()
    .meta({ description: "The feeder's uptime at sending; null where it sends what an earlier boot left behind." }),
  sentAt: z.unknown().optional(),
  readings: z.unknown().optional(),
  events: z
    .array(z.unknown())
    .max(eventsPerReportMax, `at most ${eventsPerReportMax} events a report: send the oldest first, the rest next time`)
    .nullish(),
});

/** The whole of a report as the documentation shows it. */
export const reportSchema = envelopeSchema.extend({
  sentAt: z.iso.datetime({ offset: true }).nullish().meta({ description: "The feeder's own clock, if it has one." }),
  readings: readingsSchema.nullish().meta({ description: "What the sensors measure at the moment of sending." }),
  events: z
    .array(eventSchema)
    .max(eventsPerReportMax)
    .nullish()
    .meta({ description: "What happened and is not yet known to be stored, the oldest first." }),
});

export const sentOrderSchema = z.object({
  id: z.string().meta({ description: "Names the order: send it back in an event of kind order." }),
  kind: z.enum(["pause", "resume"]).meta({ description: "pause: stop the motor and give nothing. resume: go on." }),
  until: z.iso.datetime().nullable().meta({ description: "When a pause ends by itself; null: until resumed." }),
});
export type SentOrder = z.infer<typeof sentOrderSchema>;

export const refusalSchema = z.object({
  seq: z.number().nullable().meta({
    description: "The event's seq; null for a reading, and where the event had none that could be read.",
  }),
  field: z
    .string()
    .meta({ description: "The path in the report, such as `readings.airCelsius` or `events[3].cause`." }),
  problem: z.string().meta({ description: "What is wrong with it, and the value that was sent." }),
});
export type Refusal = z.infer<typeof refusalSchema>;

export const answerSchema = z.object({
  storedThrough: z
    .number()
    .nullable()
    .meta({
      description:
        "The feeder may forget the events of this very report up to this seq: each is stored, or is listed in `refused` and can " +
        "never be read. Null where it may forget none: the report brought no events, or its first one is not stored.",
    }),
  duplicates: z
    .number()
    .meta({ description: "How many of the report's events were stored before: a repeat is harmless." }),
  refused: z.array(refusalSchema).meta({
    description:
      "Each rejected reading and each event that was not stored, by its field. An event that can't be read is covered " +
      "by `storedThrough` all the same, since it never can be, but not beyond the number right behind those that were seen. One whose seq another event of the same report has is not " +
      "covered: send it again.",
  }),
  unknown: z.array(z.string()).meta({
    description:
      "Names in the report that the server doesn't know, such as a misspelt reading, at most twenty. Nothing is concluded from " +
      "them; unknown fields of events are stored as they came.",
    example: ["readings.hoperGrams"],
  }),
  serverTime: z.iso.datetime().meta({ description: "The time in UTC, for a feeder without a clock." }),
  nextReportSeconds: z.number().meta({ description: "When the next report is expected, also if nothing happens." }),
  orders: z.array(sentOrderSchema).meta({
    description:
      "What the keeper orders: carry out the last one, and answer it each time that it comes, unless `paused` in the same report " +
      "confirms it. A paused feeder gives nothing, not by hand either. An order comes again until the feeder is known to follow it.",
  }),
});
export type Answer = z.infer<typeof answerSchema>;
