import type { z } from "zod";
import {
  bootPattern,
  countRange,
  type envelopeSchema,
  eventRanges,
  eventSchemas,
  eventsPerReportMax,
  type NumberRange,
  orderOutcomes,
  portionCauses,
  readingRanges,
  type readingsSchema,
  seqRange,
  textLengthMax,
  uptimeRange,
} from "./report.ts";

/**
 * Whether what was posted has its common shape: only known names, each value as its schema has it. Nearly all that feeders send
 * has, and a schema takes ten times as long to say so. A no decides nothing: then the schema is asked, for its problem and for
 * what it accepts beyond the common shape. A yes is never given where the schema refuses: quickCheck.test.ts compares the two.
 */
export type KnownEvents = { readonly [Kind in keyof typeof eventSchemas]: z.infer<(typeof eventSchemas)[Kind]> };
export type PostedReadings = z.infer<typeof readingsSchema>;
export type PostedEnvelope = z.infer<typeof envelopeSchema>;

export const isKnownKind = (kind: unknown): kind is keyof KnownEvents =>
  typeof kind === "string" && Object.hasOwn(eventSchemas, kind);

export const isObject = (value: unknown): value is Readonly<Record<string, unknown>> =>
  typeof value === "object" && value !== null && !Array.isArray(value);

// --- events --------------------------------------------------------------------------------------------------------

/** One check a kind, each called by its name: with few shapes of objects in each, the compiled code stays fast. */
export function isCommonEvent(event: Readonly<Record<string, unknown>>): event is KnownEvents[keyof KnownEvents] {
  const { seq, uptimeMs, kind } = event;
  if (!isWhole(seq, seqRange) || !isWhole(uptimeMs, uptimeRange) || !isKnownKind(kind)) return false;
  switch (kind) {
    case "press":
      return isCommonPress(event as Unread<"press">);
    case "visit":
      return hasNoMoreNames(event, recordedNames);
    case "deposit":
      return isCommonDeposit(event as Unread<"deposit">);
    case "portion":
      return isCommonPortion(event as Unread<"portion">);
    case "lid":
      return isCommonLid(event as Unread<"lid">);
    case "refill":
      return isCommonRefill(event as Unread<"refill">);
    case "order":
      return isCommonOrder(event as Unread<"order">);
    case "trouble":
      return isCommonTrouble(event as Unread<"trouble">);
  }
}

/** The fields that the kind has, with values that are still to be checked. */
type Unread<Kind extends keyof KnownEvents> = { readonly [Name in keyof KnownEvents[Kind]]: unknown };

const recordedNames = 3; // seq, uptimeMs and kind

function isCommonPress(event: Unread<"press">): boolean {
  const { earns } = event;
  return isFlagOrAbsent(earns) && hasNoMoreNames(event, recordedNames + countIf(earns));
}

function isCommonDeposit(event: Unread<"deposit">): boolean {
  const { metal, signal, chute, earns } = event;
  return (
    isFlagOrAbsent(metal) &&
    isNumberOrAbsent(signal, eventRanges.signal) &&
    isFlagOrAbsent(chute) &&
    isFlagOrAbsent(earns) &&
    hasNoMoreNames(event, recordedNames + countIf(metal) + countIf(signal) + countIf(chute) + countIf(earns))
  );
}

function isCommonPortion(event: Unread<"portion">): boolean {
  const { cause, paysFor, motorMs, meanMilliamps, peakMilliamps, chuteCount, lowestVolts, cutShort } = event;
  return (
    isOneOf(cause, portionCauses) &&
    isWholeOrAbsent(paysFor, seqRange) &&
    isNumberOrAbsent(motorMs, eventRanges.motorMs) &&
    isNumberOrAbsent(meanMilliamps, eventRanges.meanMilliamps) &&
    isNumberOrAbsent(peakMilliamps, eventRanges.peakMilliamps) &&
    isWholeOrAbsent(chuteCount, countRange) &&
    isNumberOrAbsent(lowestVolts, eventRanges.lowestVolts) &&
    isFlagOrAbsent(cutShort) &&
    hasNoMoreNames(
      event,
      recordedNames +
        1 +
        countIf(paysFor) +
        countIf(motorMs) +
        countIf(meanMilliamps) +
        countIf(peakMilliamps) +
        countIf(chuteCount) +
        countIf(lowestVolts) +
        countIf(cutShort),
    )
  );
}

function isCommonLid(event: Unread<"lid">): boolean {
  const { open } = event;
  return isFlagOrAbsent(open) && hasNoMoreNames(event, recordedNames + countIf(open));
}

function isCommonRefill(event: Unread<"refill">): boolean {
  const { grams, full } = event;
  return (
    isNumberOrAbsent(grams, eventRanges.grams) &&
    isFlagOrAbsent(full) &&
    hasNoMoreNames(event, recordedNames + countIf(grams) + countIf(full))
  );
}

function isCommonOrder(event: Unread<"order">): boolean {
  const { order, outcome, problem } = event;
  return (
    isText(order, textLengthMax.order) &&
    isOneOf(outcome, orderOutcomes) &&
    (problem === undefined || problem === null || problem === "" || isText(problem, textLengthMax.problem)) &&
    hasNoMoreNames(event, recordedNames + 2 + countIf(problem))
  );
}

const isCommonTrouble = (event: Unread<"trouble">): boolean =>
  isText(event.words, textLengthMax.words) && hasNoMoreNames(event, recordedNames + 1);

// --- readings and the envelope -------------------------------------------------------------------------------------

export function areCommonReadings(posted: Readonly<Record<string, unknown>>): posted is PostedReadings {
  let names = 0;
  for (const name of rangedReadings) {
    const value = posted[name];
    if (!isNumberOrAbsent(value, readingRanges[name])) return false;
    names += countIf(value);
  }
  const { spooled, counts, paused, planVersion } = posted;
  return (
    isWholeOrAbsent(spooled, countRange) &&
    areCommonCounts(counts) &&
    isFlagOrAbsent(paused) &&
    isWholeOrAbsent(planVersion, countRange) &&
    hasNoMoreNames(posted, names + countIf(spooled) + countIf(counts) + countIf(paused) + countIf(planVersion))
  );
}

const rangedReadings = Object.keys(readingRanges) as (keyof typeof readingRanges)[];

function areCommonCounts(counts: unknown): boolean {
  if (counts === undefined || counts === null) return true;
  if (!isObject(counts)) return false;
  const { button, detector, chute, perch } = counts;
  return (
    isWholeOrAbsent(button, countRange) &&
    isWholeOrAbsent(detector, countRange) &&
    isWholeOrAbsent(chute, countRange) &&
    isWholeOrAbsent(perch, countRange) &&
    hasNoMoreNames(counts, countIf(button) + countIf(detector) + countIf(chute) + countIf(perch))
  );
}

/** Unknown names are allowed here: the schema lets them through, and they are looked for in any case. */
export function isCommonEnvelope(posted: unknown): posted is PostedEnvelope {
  if (!isObject(posted)) return false;
  const { boot, sentUptimeMs, events } = posted;
  return (
    typeof boot === "string" &&
    bootPattern.test(boot) &&
    (sentUptimeMs === null || isWhole(sentUptimeMs, uptimeRange)) &&
    (events === undefined || events === null || (Array.isArray(events) && events.length <= eventsPerReportMax))
  );
}

// --- values --------------------------------------------------------------------------------------------------------

const isWhole = (value: unknown, { low, high }: NumberRange): value is number =>
  Number.isSafeInteger(value) && (value as number) >= low && (value as number) <= high;

const isWholeOrAbsent = (value: unknown, range: NumberRange): boolean =>
  value === undefined || value === null || isWhole(value, range);

const isNumberOrAbsent = (value: unknown, { low, high }: NumberRange): boolean =>
  value === undefined || value === null || (typeof value === "number" && value >= low && value <= high);

const isFlagOrAbsent = (value: unknown): boolean => value === undefined || value === null || typeof value === "boolean";

const isText = (value: unknown, lengthMax: number): boolean =>
  typeof value === "string" && value.length >= 1 && value.length <= lengthMax;

const isOneOf = (value: unknown, texts: readonly string[]): boolean =>
  typeof value === "string" && texts.includes(value);

const countIf = (value: unknown): number => (value === undefined ? 0 : 1);

/** Where each known field was counted, any further name is an unknown one. */
const hasNoMoreNames = (fields: object, count: number): boolean => Object.keys(fields).length === count;
