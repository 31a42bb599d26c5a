import type { z } from "zod";
import type { Happening, Readings } from "../domain/facts.ts";
import { milliseconds, type Span } from "../domain/instant.ts";
import { celsius, grams, humidityPercent, milliamps, volts } from "../domain/units.ts";
import { type FieldProblem, fieldProblem, theWhole } from "./fieldProblem.ts";
import { envelopeSchema, eventSchemas, type Refusal, readingsSchema, unknownEventSchema } from "./report.ts";

/** A posted report as far as it could be read, its numbers now with their units. */
export interface PostedReport {
  readonly boot: string;
  readonly sentUptime: Span | null;
  readonly readings: Readings;
  readonly setAside: readonly string[]; // readings that no such sensor can mean, by their posted names
  readonly postedReadings: object; // as posted, for the log
  readonly events: readonly PostedEvent[];
  readonly refused: readonly Refusal[];
}

export interface PostedEvent {
  readonly seq: number;
  readonly uptime: Span;
  readonly kind: string; // as posted, also where it is unknown here
  readonly happening: Happening;
  readonly body: object; // as posted, with the fields that are unknown here
}

export type ReadReport =
  | { readonly kind: "read"; readonly report: PostedReport }
  | { readonly kind: "unreadable"; readonly errors: readonly FieldProblem[] };

/**
 * What is wrong with the envelope, or of the wrong type among the readings, refuses the whole report: its sender is not
 * speaking this language. An event that can't be read, and a number that no such sensor can mean, are refused alone: one
 * broken sensor must not make the feeder mute.
 */
export function readReport(posted: unknown): ReadReport {
  const envelope = envelopeSchema.safeParse(posted);
  if (!envelope.success)
    return { kind: "unreadable", errors: envelope.error.issues.map((issue) => fieldProblem(issue)) };
  const { boot, sentUptimeMs, readings, events } = envelope.data;

  const read = readReadings(readings ?? {});
  if (read.kind === "unreadable") return read;

  const refused: Refusal[] = [...read.refused];
  const readEvents: PostedEvent[] = [];
  (events ?? []).forEach((event, index) => {
    const outcome = readEvent(event, sentUptimeMs);
    if ("problem" in outcome) refused.push(refusalOf(event, index, outcome));
    else readEvents.push(outcome);
  });
  const sentUptime = sentUptimeMs === null ? null : milliseconds(sentUptimeMs);
  return {
    kind: "read",
    report: {
      boot,
      sentUptime,
      readings: read.readings,
      setAside: read.setAside,
      postedReadings: readings ?? {},
      events: readEvents,
      refused,
    },
  };
}

// --- readings ------------------------------------------------------------------------------------------------------

type PostedReadings = z.infer<typeof readingsSchema>;

function readReadings(
  posted: Record<string, unknown>,
):
  | { kind: "read"; readings: Readings; setAside: readonly string[]; refused: readonly Refusal[] }
  | { kind: "unreadable"; errors: readonly FieldProblem[] } {
  const whole = readingsSchema.safeParse(posted);
  if (whole.success) return { kind: "read", readings: withUnits(whole.data), setAside: [], refused: [] };

  const beyond = whole.error.issues.filter((issue) => isOutOfRange(issue) && issue.path.length === 1);
  if (beyond.length < whole.error.issues.length) {
    const errors = whole.error.issues.filter((issue) => !beyond.includes(issue));
    return { kind: "unreadable", errors: errors.map((issue) => fieldProblem(issue, "readings")) };
  }
  const setAside = [...new Set(beyond.map((issue) => String(issue.path[0])))];
  const credible = { ...posted };
  for (const name of setAside) delete credible[name];
  return {
    kind: "read",
    readings: withUnits(readingsSchema.parse(credible)),
    setAside,
    refused: beyond.map((issue) => ({ seq: null, ...fieldProblem(issue, "readings") })),
  };
}

const isOutOfRange = (issue: z.core.$ZodIssue) => issue.code === "too_small" || issue.code === "too_big";

function withUnits(posted: PostedReadings): Readings {
  const given = <Value, Read>(value: Value | null | undefined, read: (value: Value) => Read): Read | null =>
    value === null || value === undefined ? null : read(value);
  return {
    hopper: given(posted.hopperGrams, grams),
    air: given(posted.airCelsius, celsius),
    inside: given(posted.insideCelsius, celsius),
    lid: given(posted.lidCelsius, celsius),
    // Such sensors are some percent off at the wet end, so that a little over 100 means 100.
    humidity: given(posted.humidityPercent, (share) => humidityPercent(Math.min(100, share))),
    supply: given(posted.supplyVolts, volts),
    battery: given(posted.batteryVolts, volts),
    batteryTemperature: given(posted.batteryCelsius, celsius),
    charge: given(posted.chargeMilliamps, milliamps),
    signalDbm: posted.signalDbm ?? null,
    spooled: posted.spooled ?? null,
    counts: {
      button: posted.counts?.button ?? null,
      detector: posted.counts?.detector ?? null,
      chute: posted.counts?.chute ?? null,
      perch: posted.counts?.perch ?? null,
    },
    paused: posted.paused ?? null,
    planVersion: posted.planVersion ?? null,
  };
}

// --- events --------------------------------------------------------------------------------------------------------

function readEvent(posted: unknown, sentUptimeMs: number | null): PostedEvent | FieldProblem {
  const kind = (posted as { kind?: unknown } | null)?.kind;
  const schema = isKnown(kind) ? eventSchemas[kind] : unknownEventSchema;
  const read = schema.safeParse(posted);
  if (!read.success) return fieldProblem(read.error.issues[0] as z.core.$ZodIssue);
  if (sentUptimeMs !== null && read.data.uptimeMs > sentUptimeMs) {
    return {
      field: "uptimeMs",
      problem: `is ${read.data.uptimeMs}, after the report's own sentUptimeMs ${sentUptimeMs}`,
    };
  }
  return {
    seq: read.data.seq,
    uptime: milliseconds(read.data.uptimeMs),
    kind: read.data.kind,
    happening: happeningOf(read.data as KnownEvent),
    body: posted as object,
  };
}

const isKnown = (kind: unknown): kind is keyof typeof eventSchemas =>
  typeof kind === "string" && Object.hasOwn(eventSchemas, kind);

type KnownEvent = {
  [Kind in keyof typeof eventSchemas]: z.infer<(typeof eventSchemas)[Kind]>;
}[keyof typeof eventSchemas];

function happeningOf(event: KnownEvent): Happening {
  switch (event.kind) {
    case "portion":
      return {
        kind: "portion",
        cause: event.cause,
        paysFor: event.paysFor ?? null,
        motorRan: event.motorMs == null ? null : milliseconds(event.motorMs),
        meanCurrent: event.meanMilliamps == null ? null : milliamps(event.meanMilliamps),
        peakCurrent: event.peakMilliamps == null ? null : milliamps(event.peakMilliamps),
        chuteCount: event.chuteCount ?? null,
        lowestSupply: event.lowestVolts == null ? null : volts(event.lowestVolts),
        ...(event.cutShort === true && { cutShort: true as const }),
      };
    case "press":
      return { kind: "press" };
    case "deposit":
      return {
        kind: "deposit",
        metal: event.metal ?? null,
        signal: event.signal ?? null,
        chute: event.chute ?? null,
      };
    case "visit":
      return { kind: "visit" };
    case "lid":
      return { kind: "lid", open: event.open ?? null };
    case "refill":
      return { kind: "refill", added: event.grams == null ? null : grams(event.grams), full: event.full ?? false };
    case "order":
      return { kind: "order", order: event.order, outcome: event.outcome, problem: event.problem ?? null };
    case "trouble":
      return { kind: "trouble", words: event.words };
    default:
      return { kind: "unknown", said: (event as { kind: string }).kind };
  }
}

// --- problems ------------------------------------------------------------------------------------------------------

function refusalOf(posted: unknown, index: number, { field, problem }: FieldProblem): Refusal {
  const seq = (posted as { seq?: unknown } | null)?.seq;
  const where = field === theWhole ? `events[${index}]` : `events[${index}].${field}`;
  return { seq: typeof seq === "number" && Number.isFinite(seq) ? seq : null, field: where, problem };
}
