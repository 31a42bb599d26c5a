import { z } from "zod";
import { sentPlanSchema } from "./plan.ts";

/**
 * What a feeder may report, version 1. JSON numbers have their unit in their name. Every reading is optional: a feeder may have
 * one button and no scale. Unknown fields and kinds are stored, not refused.
 */

export const eventsPerReportMax = 2_000;
export const reportBytesMax = 1_048_576;

/** The ends are included. The schemas and the quick check (quickCheck.ts) take each range from here. */
export interface NumberRange {
  readonly low: number;
  readonly high: number;
}

export const bootPattern = /^[A-Za-z0-9._~…-]{1,64}$/u;

const bootId = z
  .string()
  .regex(bootPattern, "must be 1 to 64 letters, digits or . _ ~ -")
  .meta({ description: "A random id; the feeder chooses a new one at each start.", example: "b-7f3a91c2" });

export const uptimeRange: NumberRange = { low: 0, high: 10 ** 13 };

const uptimeMs = z
  .int("must be a whole number of milliseconds")
  .min(uptimeRange.low, "must not be negative")
  .max(uptimeRange.high, "must be milliseconds since the feeder's start")
  .meta({ description: "When it happened, by the feeder's uptime." });

export const seqMax = 2 ** 52;
export const seqRange: NumberRange = { low: 1, high: seqMax };

const seq = z
  .int("must be a whole number")
  .min(seqRange.low, "must count from 1")
  .max(seqRange.high, "is too large")
  .meta({ description: "Counts from 1 within one boot. (feeder, boot, seq) is an event's identity." });

const between = ({ low, high }: NumberRange) => {
  const range = `must be between ${low} and ${high}`;
  return z.number("must be a number").min(low, range).max(high, range).nullish();
};
/**
 * The range that such a sensor can measure. Any other value (a number outside, text, NaN) is a rejected reading, which the answer
 * names. The rest of the report is stored.
 */
const reading = (range: NumberRange, description: string) => between(range).meta({ description });

export const countRange: NumberRange = { low: 0, high: Number.MAX_SAFE_INTEGER };
const count = z.int("must be a whole number").min(countRange.low, "must not be negative").nullish();

export const readingRanges = {
  hopperGrams: { low: -2_000, high: 100_000 },
  airCelsius: { low: -70, high: 70 },
  insideCelsius: { low: -70, high: 90 },
  lidCelsius: { low: -80, high: 100 },
  humidityPercent: { low: 0, high: 105 },
  supplyVolts: { low: 0, high: 60 },
  batteryVolts: { low: 0, high: 120 },
  batteryCelsius: { low: -70, high: 90 },
  chargeMilliamps: { low: -100_000, high: 100_000 },
  signalDbm: { low: -130, high: 10 },
} as const satisfies Record<string, NumberRange>;

export const readingsSchema = z.looseObject({
  hopperGrams: reading(readingRanges.hopperGrams, "What the load cell under the hopper measures, without the tare."),
  airCelsius: reading(readingRanges.airCelsius, "Air temperature in the shade."),
  insideCelsius: reading(readingRanges.insideCelsius, "Temperature inside the feeder's box."),
  lidCelsius: reading(readingRanges.lidCelsius, "Temperature of the lid, the surface that frosts first."),
  humidityPercent: reading(readingRanges.humidityPercent, "Relative humidity over liquid water."),
  supplyVolts: reading(
    readingRanges.supplyVolts,
    "Supply rail; the lowest since the last report if the feeder records it.",
  ),
  batteryVolts: reading(readingRanges.batteryVolts, "Voltage between the battery's terminals."),
  batteryCelsius: reading(readingRanges.batteryCelsius, "Temperature at the battery, not of the air."),
  chargeMilliamps: reading(readingRanges.chargeMilliamps, "Current into the battery."),
  signalDbm: reading(readingRanges.signalDbm, "Radio signal strength."),
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

export const eventRanges = {
  motorMs: { low: 0, high: 600_000 },
  meanMilliamps: { low: 0, high: 100_000 },
  peakMilliamps: { low: 0, high: 100_000 },
  lowestVolts: { low: 0, high: 60 },
  signal: { low: 0, high: 1 },
  grams: { low: 0, high: 100_000 },
} as const satisfies Record<string, NumberRange>;

export const portionCauses = ["timer", "press", "deposit", "keeper", "bench"] as const;
export const orderOutcomes = ["done", "refused"] as const;
/** In UTF-16 code units, as both JavaScript and the schemas count them. */
export const textLengthMax = { order: 64, problem: 500, words: 500 } as const;

const earns = z
  .boolean("must be true or false")
  .nullish()
  .meta({
    description:
      "Whether it earned a portion: true is a promise, and the keeper is told at once where it isn't kept; false owes nothing. Left out: " +
      "each act is expected to be paid, unless the plan pays only some, and the keeper is told once more in a row stay unpaid than this " +
      "feeder's record explains (five, for a new one).",
  });

export const eventSchemas = {
  portion: z.looseObject({
    ...recorded,
    kind: z.literal("portion"),
    cause: z.enum(portionCauses).meta({ description: "Why it was given; bench: by an order of kind bench." }),
    paysFor: seq.nullish().meta({ description: "The seq of the press or deposit that it pays." }),
    motorMs: between(eventRanges.motorMs).meta({
      description: "How long the motor ran, from uptimeMs on: a portion's time is the start of its run.",
    }),
    meanMilliamps: between(eventRanges.meanMilliamps).meta({ description: "Mean motor current." }),
    peakMilliamps: between(eventRanges.peakMilliamps).meta({ description: "Highest motor current." }),
    chuteCount: count.meta({ description: "Pieces that the chute sensor counted." }),
    lowestVolts: between(eventRanges.lowestVolts).meta({
      description: "Least that the supply gave while the motor ran: a sag of a tenth of a second, which no mean shows.",
    }),
    cutShort: z.boolean("must be true or false").nullish().meta({
      description:
        "The motor was started, and a power cut, a pause or a fault ended the portion: how much fell is not known.",
    }),
  }),
  press: z.looseObject({ ...recorded, kind: z.literal("press"), earns }),
  deposit: z.looseObject({
    ...recorded,
    kind: z.literal("deposit"),
    metal: z.boolean("must be true or false").nullish().meta({ description: "Whether the detector found metal." }),
    signal: between(eventRanges.signal).meta({ description: "How strong the detector's signal was; 1 is full scale." }),
    chute: z.boolean("must be true or false").nullish().meta({ description: "Whether something fell into the box." }),
    earns,
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
    grams: between(eventRanges.grams).meta({ description: "How much food was added." }),
    full: z.boolean("must be true or false").nullish().meta({ description: "Whether the hopper is full now." }),
  }),
  order: z.looseObject({
    ...recorded,
    kind: z.literal("order"),
    order: z
      .string()
      .min(1)
      .max(textLengthMax.order)
      .meta({ description: "The id of the order that was carried out or refused." }),
    outcome: z.enum(orderOutcomes).meta({ description: "What the feeder made of the order." }),
    problem: z
      .string()
      .max(textLengthMax.problem)
      .nullish()
      .meta({ description: "Why it was refused, as text for the keeper." }),
  }),
  trouble: z.looseObject({
    ...recorded,
    kind: z.literal("trouble"),
    words: z.string().min(1).max(textLengthMax.words).meta({ description: "What is wrong, as text for the keeper." }),
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
  kind: z.enum(["pause", "resume", "bench"]).meta({
    description: "pause: stop the motor and give nothing. resume: go on. bench: give portions for a bench run.",
  }),
  until: z.iso.datetime().nullable().meta({ description: "When a pause ends by itself; null: until resumed." }),
  portions: z
    .int()
    .exactOptional()
    .meta({
      description:
        "Of kind bench alone: how many portions to give, each reported with the cause bench. Answer done after the last one, or refused with " +
        "the reason as soon as no more can be given: a pause, a power cut and the motor's own limits end it. 0: give no more of them, and answer done.",
    }),
  restSeconds: z.number().exactOptional().meta({
    description: "Of kind bench alone: how long the motor rests after each portion. Send a report in each rest.",
  }),
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
  plan: sentPlanSchema.nullish().meta({
    description:
      "The feeding plan, whenever `readings.planVersion` is not its version. Null where the keeper has removed it and the feeder still " +
      "states a version: then it follows none, and its own program decides. Left out where there is nothing to change.",
  }),
});
export type Answer = z.infer<typeof answerSchema>;
