import { z } from "zod";
import { milliseconds, type Span } from "../domain/instant.ts";
import type { EventContent, Readings } from "../domain/report.ts";
import { celsius, grams, humidityPercent, milliamps, volts } from "../domain/units.ts";
import { type FieldProblem, fieldProblem, wholeBody } from "./fieldProblem.ts";
import type { BareNumber } from "./lenientJson.ts";
import { envelopeSchema, eventSchemas, type Refusal, readingsSchema, unknownEventSchema } from "./report.ts";
import { unknownNames, unknownReadings } from "./unknownNames.ts";

/** A posted report as far as it could be read, its numbers now with their units. */
export interface PostedReport {
  readonly boot: string;
  readonly sentUptime: Span | null;
  readonly readings: Readings;
  readonly rejectedReadings: readonly string[]; // readings that no such sensor can mean, by their posted names
  readonly postedReadings: unknown; // as posted, for the log
  readonly events: readonly PostedEvent[];
  readonly refused: readonly Refusal[];
  /** Names that are not known here: of readings as the keeper is shown them, and of the whole report by their paths. */
  readonly unknownReadings: readonly string[];
  readonly unknownNames: readonly string[];
}

export interface PostedEvent {
  readonly seq: number;
  readonly uptime: Span;
  readonly kind: string; // as posted, also where it is unknown here
  readonly content: EventContent;
  readonly body: object; // as posted, with the fields that are unknown here
  readonly index: number; // its place in the report
}

export type ReadReport =
  | { readonly kind: "read"; readonly report: PostedReport }
  | { readonly kind: "unreadable"; readonly errors: readonly FieldProblem[] };

/**
 * A problem of the envelope refuses the whole report: its sender doesn't follow the protocol. A reading or an event that can't be
 * read is refused alone, so that one broken sensor loses neither the other readings nor the events.
 * @param bare NaN and infinity in the text of its events.
 */
export function readReport(posted: unknown, bare: readonly BareNumber[] = []): ReadReport {
  const envelope = envelopeSchema.safeParse(posted);
  if (!envelope.success)
    return { kind: "unreadable", errors: envelope.error.issues.map((issue) => problemWithValue(issue, posted)) };
  const { boot, sentUptimeMs, sentAt, readings, events } = envelope.data;

  const read = readReadings(readings);
  const refused: Refusal[] = [...sentAtProblems(sentAt), ...read.refused, ...bare.map(bareNumberRefusal)];
  const readEvents: PostedEvent[] = [];
  (events ?? []).forEach((event, index) => {
    const outcome = readEvent(event, index, sentUptimeMs);
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
      rejectedReadings: read.rejectedReadings,
      postedReadings: read.posted,
      events: readEvents,
      refused,
      unknownReadings: read.unknownNames,
      unknownNames: unknownNames(posted as object, read.unknownNames, events ?? []),
    },
  };
}

const sentAtSchema = z.iso
  .datetime({ offset: true, error: "must be an ISO 8601 date and time with its zone" })
  .nullish();

function sentAtProblems(sentAt: unknown): readonly Refusal[] {
  const [issue] = sentAtSchema.safeParse(sentAt).error?.issues ?? [];
  return issue === undefined ? [] : [{ seq: null, ...problemWithValue(issue, sentAt, "sentAt") }];
}

const bareNumberRefusal = ({ path, token }: BareNumber): Refusal => ({
  seq: null,
  field: fieldPath(path),
  problem: `${token} is no number: ignored`,
});

// --- readings ------------------------------------------------------------------------------------------------------

type PostedReadings = z.infer<typeof readingsSchema>;

interface ReadReadings {
  readonly readings: Readings;
  readonly rejectedReadings: readonly string[];
  readonly refused: readonly Refusal[];
  readonly posted: unknown; // for the log: read again, it gives the same
  readonly unknownNames: readonly string[];
}

function readReadings(posted: unknown): ReadReadings {
  if (posted === null || posted === undefined) return noReadings({});
  const wrong = isObject(posted) ? null : `must be an object, got ${valueText(posted)}`;
  if (wrong !== null || isTooDeep(posted)) {
    const refused = [{ seq: null, field: "readings", problem: wrong ?? tooDeep }];
    return {
      ...noReadings(wrong === null ? tooDeep : shortenedValue(posted)),
      rejectedReadings: ["readings"],
      refused,
    };
  }
  const request = posted as Record<string, unknown>;
  const unknown = unknownReadings(request);
  const whole = readingsSchema.safeParse(request);
  if (whole.success)
    return {
      readings: readingsWithUnits(whole.data),
      rejectedReadings: [],
      refused: [],
      posted,
      unknownNames: unknown,
    };

  const { issues } = whole.error;
  const rejected = [...new Set(issues.map(({ path }) => path.join(".")))];
  return {
    readings: readingsWithUnits(readingsSchema.parse(withoutNames(request, rejected))),
    rejectedReadings: rejected,
    refused: issues.map((issue) => ({ seq: null, ...problemWithValue(issue, request, "readings") })),
    posted,
    unknownNames: unknown,
  };
}

const noReadings = (posted: unknown): ReadReadings => ({
  readings: readingsWithUnits({}),
  rejectedReadings: [],
  refused: [],
  posted,
  unknownNames: [],
});

/** A value that is no object either, and small enough for the log. */
const shortenedValue = (posted: unknown): unknown => (typeof posted === "object" ? [] : String(posted).slice(0, 40));

/** @param names such as `airCelsius` and `counts.button`. */
function withoutNames(request: Record<string, unknown>, names: readonly string[]): Record<string, unknown> {
  const rest = { ...request };
  for (const name of names) {
    const [outer = "", inner] = name.split(".");
    if (inner === undefined) delete rest[outer];
    else if (isObject(rest[outer])) rest[outer] = withoutNames(rest[outer] as Record<string, unknown>, [inner]);
  }
  return rest;
}

function readingsWithUnits(posted: PostedReadings): Readings {
  return {
    hopper: withUnit(posted.hopperGrams, grams),
    air: withUnit(posted.airCelsius, celsius),
    inside: withUnit(posted.insideCelsius, celsius),
    lid: withUnit(posted.lidCelsius, celsius),
    // Such sensors are some percent off at the wet end, so that a little over 100 means 100.
    humidity: withUnit(posted.humidityPercent, (share) => humidityPercent(Math.min(100, share))),
    supply: withUnit(posted.supplyVolts, volts),
    battery: withUnit(posted.batteryVolts, volts),
    batteryTemperature: withUnit(posted.batteryCelsius, celsius),
    charge: withUnit(posted.chargeMilliamps, milliamps),
    signalDbm: posted.signalDbm ?? null,
    spooled: posted.spooled ?? null,
    counts: sensorCounts(posted.counts),
    paused: posted.paused ?? null,
    planVersion: posted.planVersion ?? null,
  };
}

function sensorCounts(posted: PostedReadings["counts"]): Readings["counts"] {
  const { button, detector, chute, perch } = posted ?? {};
  return { button: button ?? null, detector: detector ?? null, chute: chute ?? null, perch: perch ?? null };
}

const withUnit = <Read>(value: number | null | undefined, unit: (value: number) => Read): Read | null =>
  value === null || value === undefined ? null : unit(value);

// --- events --------------------------------------------------------------------------------------------------------

function readEvent(posted: unknown, index: number, sentUptimeMs: number | null): PostedEvent | FieldProblem {
  const kind = (posted as { kind?: unknown } | null)?.kind;
  const schema = isKnown(kind) ? eventSchemas[kind] : unknownEventSchema;
  const read = schema.safeParse(posted);
  if (!read.success) return problemWithValue(read.error.issues[0] as z.core.$ZodIssue, posted);
  if (isTooDeep(posted)) return { field: wholeBody, problem: tooDeep };
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
    content: isKnown(kind) ? eventContent(kind, read.data as never) : { kind: "unknown", postedKind: read.data.kind },
    body: posted as object,
    index,
  };
}

const isKnown = (kind: unknown): kind is keyof typeof eventSchemas =>
  typeof kind === "string" && Object.hasOwn(eventSchemas, kind);

type KnownEvents = { readonly [Kind in keyof typeof eventSchemas]: z.infer<(typeof eventSchemas)[Kind]> };

const knownContents: { readonly [Kind in keyof KnownEvents]: (event: KnownEvents[Kind]) => EventContent } = {
  portion: (event) => ({
    kind: "portion",
    cause: event.cause,
    paysFor: event.paysFor ?? null,
    motorRan: withUnit(event.motorMs, milliseconds),
    meanCurrent: withUnit(event.meanMilliamps, milliamps),
    peakCurrent: withUnit(event.peakMilliamps, milliamps),
    chuteCount: event.chuteCount ?? null,
    lowestSupply: withUnit(event.lowestVolts, volts),
    ...(event.cutShort === true && { cutShort: true as const }),
  }),
  press: () => ({ kind: "press" }),
  deposit: ({ metal, signal, chute }) => ({
    kind: "deposit",
    metal: metal ?? null,
    signal: signal ?? null,
    chute: chute ?? null,
  }),
  visit: () => ({ kind: "visit" }),
  lid: ({ open }) => ({ kind: "lid", open: open ?? null }),
  refill: (event) => ({ kind: "refill", added: withUnit(event.grams, grams), full: event.full ?? false }),
  order: ({ order, outcome, problem }) => ({ kind: "order", order, outcome, problem: problem ?? null }),
  trouble: ({ words }) => ({ kind: "trouble", text: words }),
};

/** @param event as the schema of this kind has read it. */
const eventContent = <Kind extends keyof KnownEvents>(kind: Kind, event: KnownEvents[Kind]): EventContent =>
  knownContents[kind](event);

// --- problems ------------------------------------------------------------------------------------------------------

function refusalOf(posted: unknown, index: number, { field, problem }: FieldProblem): Refusal {
  const seq = (posted as { seq?: unknown } | null)?.seq;
  const where = field === wholeBody ? `events[${index}]` : `events[${index}].${field}`;
  return { seq: typeof seq === "number" && Number.isFinite(seq) ? seq : null, field: where, problem };
}

/** A schema's problem, with the value that was sent. @param request the value that the schema was given */
function problemWithValue(issue: z.core.$ZodIssue, request: unknown, under = ""): FieldProblem {
  const { field, problem } = fieldProblem(issue, under);
  let value = request;
  for (const step of issue.path) value = isIndexable(value) ? value[step as string] : undefined;
  return { field, problem: value === undefined || value === request ? problem : `${problem}, got ${valueText(value)}` };
}

const isIndexable = (value: unknown): value is Record<string, unknown> => typeof value === "object" && value !== null;
const isObject = (value: unknown): value is object => isIndexable(value) && !Array.isArray(value);

function valueText(value: unknown): string {
  if (Array.isArray(value)) return "a list";
  if (isIndexable(value)) return "an object";
  const text = JSON.stringify(value); // what came as JSON always has such a form
  return text.length <= 40 ? text : `${text.slice(0, 39)}…`;
}

function fieldPath(path: readonly (string | number)[]): string {
  return path
    .map((step, index) => (typeof step === "number" ? `[${step}]` : `${index === 0 ? "" : "."}${step}`))
    .join("");
}

const nestingMax = 32;
const tooDeep = `must not nest deeper than ${nestingMax}`;

/** A value nested deeper than the stack allows could be read and not be written. Most events hold no list and no object at all. */
function isTooDeep(value: unknown): boolean {
  let level: readonly unknown[] = [value];
  for (let depth = 0; depth <= nestingMax; depth += 1) {
    const inside: unknown[] = [];
    for (const one of level) {
      if (isIndexable(one)) for (const each of Object.values(one)) if (isIndexable(each)) inside.push(each);
    }
    if (inside.length === 0) return false;
    level = inside;
  }
  return true;
}
