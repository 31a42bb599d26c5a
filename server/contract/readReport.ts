import { z } from "zod";
import { milliseconds, type Span } from "../domain/instant.ts";
import type { Readings } from "../domain/report.ts";
import { type FieldProblem, problemWithValue, wholeBody } from "./fieldProblem.ts";
import type { BareNumber } from "./lenientJson.ts";
import { isCommonEnvelope, isObject, type PostedEnvelope } from "./quickCheck.ts";
import { type PostedEvent, readCommonEvent, readEventBySchema } from "./readEvent.ts";
import { readReadings } from "./readReadings.ts";
import { envelopeSchema, type Refusal } from "./report.ts";
import { noTexts, sentTexts } from "./sentText.ts";
import { unknownNames } from "./unknownNames.ts";

export type { PostedEvent } from "./readEvent.ts";

/** A posted report as far as it could be read, its numbers now with their units. */
export interface PostedReport {
  readonly boot: string;
  readonly sentUptime: Span | null;
  readonly readings: Readings;
  readonly rejectedReadings: readonly string[]; // readings that no such sensor can mean, by their posted names
  readonly postedReadings: unknown; // as posted, for the log
  readonly readingsText: string | null; // as sent; null where a reading was rejected, or the text is not known
  readonly events: readonly PostedEvent[];
  readonly eventsText: string | null; // the list as sent; null where an event was refused, or the text is not known
  readonly refused: readonly Refusal[];
  /** Names that are not known here: of readings as the keeper is shown them, and of the whole report by their paths. */
  readonly unknownReadings: readonly string[];
  readonly unknownNames: readonly string[];
}

export type ReadReport =
  | { readonly kind: "read"; readonly report: PostedReport }
  | { readonly kind: "unreadable"; readonly errors: readonly FieldProblem[] };

/**
 * A problem of the envelope refuses the whole report: its sender doesn't follow the protocol. A reading or an event that can't be
 * read is refused alone, so that one broken sensor loses neither the other readings nor the events.
 * @param bare NaN and infinity in the text of its events.
 * @param json the text, where JSON.parse has read `posted` from it
 */
export function readReport(posted: unknown, bare: readonly BareNumber[] = [], json: string | null = null): ReadReport {
  const envelope = readEnvelope(posted);
  if ("errors" in envelope) return { kind: "unreadable", errors: envelope.errors };
  const { boot, sentUptimeMs, sentAt, readings, events } = envelope.posted;

  const read = readReadings(readings);
  const { readEvents, refusedEvents, uncommon } = readPostedEvents(events ?? [], sentUptimeMs);
  const texts = json === null ? noTexts : sentTexts(json);
  return {
    kind: "read",
    report: {
      boot,
      sentUptime: sentUptimeMs === null ? null : milliseconds(sentUptimeMs),
      readings: read.readings,
      rejectedReadings: read.rejectedReadings,
      postedReadings: read.posted,
      readingsText: isObject(readings) && read.rejectedReadings.length === 0 ? texts.readings : null,
      events: readEvents,
      eventsText: events && refusedEvents.length === 0 ? texts.events : null,
      refused: [...sentAtProblems(sentAt), ...read.refused, ...bare.map(bareNumberRefusal), ...refusedEvents],
      unknownReadings: read.unknownNames,
      unknownNames: unknownNames(posted as object, read.unknownNames, uncommon),
    },
  };
}

type ReadEnvelope = { readonly posted: PostedEnvelope } | { readonly errors: readonly FieldProblem[] };

function readEnvelope(posted: unknown): ReadEnvelope {
  if (isCommonEnvelope(posted)) return { posted };
  const read = envelopeSchema.safeParse(posted);
  if (read.success) return { posted: read.data };
  return { errors: read.error.issues.map((issue) => problemWithValue(issue, posted)) };
}

interface ReadEvents {
  readonly readEvents: readonly PostedEvent[];
  readonly refusedEvents: readonly Refusal[];
  /** Those in which there may be an unknown name, with their places. */
  readonly uncommon: readonly (readonly [index: number, event: unknown])[];
}

function readPostedEvents(posted: readonly unknown[], sentUptimeMs: number | null): ReadEvents {
  const readEvents: PostedEvent[] = [];
  const refusedEvents: Refusal[] = [];
  const uncommon: [number, unknown][] = [];
  for (const [index, event] of posted.entries()) {
    const common = readCommonEvent(event, index, sentUptimeMs);
    if (common !== null) {
      readEvents.push(common);
      continue;
    }
    uncommon.push([index, event]);
    const outcome = readEventBySchema(event, index, sentUptimeMs);
    if ("problem" in outcome) refusedEvents.push(refusalOf(event, index, outcome));
    else readEvents.push(outcome);
  }
  return { readEvents, refusedEvents, uncommon };
}

const sentAtSchema = z.iso.datetime({ offset: true, error: "must be an ISO 8601 date and time with its zone" });

function sentAtProblems(sentAt: unknown): readonly Refusal[] {
  if (sentAt === null || sentAt === undefined) return [];
  const [issue] = sentAtSchema.safeParse(sentAt).error?.issues ?? [];
  return issue === undefined ? [] : [{ seq: null, ...problemWithValue(issue, sentAt, "sentAt") }];
}

const bareNumberRefusal = ({ path, token }: BareNumber): Refusal => ({
  seq: null,
  field: fieldPath(path),
  problem: `${token} is no number: ignored`,
});

function refusalOf(posted: unknown, index: number, { field, problem }: FieldProblem): Refusal {
  const seq = (posted as { seq?: unknown } | null)?.seq;
  const where = field === wholeBody ? `events[${index}]` : `events[${index}].${field}`;
  return { seq: typeof seq === "number" && Number.isFinite(seq) ? seq : null, field: where, problem };
}

function fieldPath(path: readonly (string | number)[]): string {
  return path
    .map((step, index) => (typeof step === "number" ? `[${step}]` : `${index === 0 ? "" : "."}${step}`))
    .join("");
}
