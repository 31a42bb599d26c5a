import type { z } from "zod";
import { milliseconds, type Span } from "../domain/instant.ts";
import type { EventContent } from "../domain/report.ts";
import { grams, milliamps, volts } from "../domain/units.ts";
import { type FieldProblem, problemWithValue, wholeBody } from "./fieldProblem.ts";
import { isTooDeep, tooDeep } from "./nesting.ts";
import { isCommonEvent, isKnownKind, isObject, type KnownEvents } from "./quickCheck.ts";
import { eventSchemas, unknownEventSchema } from "./report.ts";
import { withUnit } from "./withUnit.ts";

export interface PostedEvent {
  readonly seq: number;
  readonly uptime: Span;
  readonly kind: string; // as posted, also where it is unknown here
  readonly content: EventContent;
  readonly body: object; // as posted, with the fields that are unknown here
  readonly index: number; // its place in the report
}

/** @returns null where the event isn't of the common shape, or can't be read: then the schema decides. */
export function readCommonEvent(posted: unknown, index: number, sentUptimeMs: number | null): PostedEvent | null {
  if (!isObject(posted) || !isCommonEvent(posted)) return null;
  if (sentUptimeMs !== null && posted.uptimeMs > sentUptimeMs) return null;
  return {
    seq: posted.seq,
    uptime: milliseconds(posted.uptimeMs),
    kind: posted.kind,
    content: eventContent(posted.kind, posted as never),
    body: posted,
    index,
  };
}

export function readEventBySchema(
  posted: unknown,
  index: number,
  sentUptimeMs: number | null,
): PostedEvent | FieldProblem {
  const kind = (posted as { kind?: unknown } | null)?.kind;
  const schema = isKnownKind(kind) ? eventSchemas[kind] : unknownEventSchema;
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
    content: isKnownKind(kind)
      ? eventContent(kind, read.data as never)
      : { kind: "unknown", postedKind: read.data.kind },
    body: posted as object,
    index,
  };
}

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
  press: ({ earns }) => ({ kind: "press", ...(earns != null && { earns }) }),
  deposit: ({ metal, signal, chute, earns }) => ({
    kind: "deposit",
    metal: metal ?? null,
    signal: signal ?? null,
    chute: chute ?? null,
    ...(earns != null && { earns }),
  }),
  visit: () => ({ kind: "visit" }),
  lid: ({ open }) => ({ kind: "lid", open: open ?? null }),
  refill: (event) => ({ kind: "refill", added: withUnit(event.grams, grams), full: event.full ?? false }),
  order: ({ order, outcome, problem }) => ({ kind: "order", order, outcome, problem: problem ?? null }),
  trouble: ({ words }) => ({ kind: "trouble", text: words }),
};

/** @param event as the schema of this kind has it. */
const eventContent = <Kind extends keyof KnownEvents>(kind: Kind, event: KnownEvents[Kind]): EventContent =>
  knownContents[kind](event);
