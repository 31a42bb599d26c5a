import { type DigestChannel, digestChannels, type Role, roles } from "../../contract/api.ts";
import { type Instant, instant } from "../../domain/instant.ts";
import type { Phone, RowPlace, YardRow } from "../../ports.ts";
import type { Phone as StoredPhone, Yard } from "./generated/sqlite/client.ts";

/** Rows of tables as the flows know them, and times as Prisma stores them in SQLite. */

export const dateOf = (at: Instant): Date => new Date(at);
export const instantFrom = (date: Date): Instant => instant(date.getTime());
/** As Prisma wants bytes: a view of a larger buffer would be stored whole. */
export const octetsOf = (buffer: Buffer): Uint8Array<ArrayBuffer> => new Uint8Array(buffer);
export const maybeText = (at: Instant | null): string | null => (at === null ? null : textOf(at));
export const maybeInstant = (date: Date | null): Instant | null => (date === null ? null : instantFrom(date));

/**
 * Prisma writes a DateTime to SQLite as ISO text that ends in +00:00; plain SQL must write the same to be comparable.
 * Thousands of events fall into a few minutes, so the text of the minute is made once (it took a twentieth of the time of a report).
 */
export function textOf(at: Instant): string {
  const minute = Math.floor(at / 60_000);
  if (minute !== lastMinute.number)
    lastMinute = { number: minute, text: new Date(minute * 60_000).toISOString().slice(0, 17) };
  const milliseconds = Math.floor(at) - minute * 60_000;
  return `${lastMinute.text}${(100_000 + milliseconds).toString().slice(1, 3)}.${(1_000 + (milliseconds % 1_000)).toString().slice(1)}+00:00`;
}
let lastMinute = { number: Number.NaN, text: "" };

export function yardFrom(yard: Yard): YardRow {
  const { id, name, zone, latitudeDegrees, longitudeDegrees, digestTime, digestWanted, practice, escalateMinutes } =
    yard;
  const noticeAt = maybeInstant(yard.diseaseNoticeAt);
  const diseaseNotice = noticeAt === null ? null : { at: noticeAt, by: yard.diseaseNoticeBy ?? "" };
  const place = latitudeDegrees === null || longitudeDegrees === null ? null : { latitudeDegrees, longitudeDegrees };
  return {
    id,
    name,
    zone,
    place,
    digestTime,
    digestWanted,
    practice,
    escalateMinutes,
    diseaseNotice,
    stillsKeptDays: yard.stillsKeptDays,
  };
}

export function phoneFrom(phone: StoredPhone): Phone {
  const { id, endpoint, p256dh, auth, label, problem } = phone;
  return {
    id,
    keeper: phone.keeperId,
    endpoint,
    p256dh,
    auth,
    label,
    problem,
    addedAt: instantFrom(phone.addedAt),
    lastAcceptedAt: maybeInstant(phone.lastAcceptedAt),
    lastDisplayedAt: maybeInstant(phone.lastDisplayedAt),
    blockedAt: maybeInstant(phone.blockedAt),
  };
}

export const roleFrom = (text: string): Role => oneOf(roles, text, "a role");
export const digestChannelFrom = (text: string): DigestChannel =>
  oneOf(digestChannels, text, "a channel for the digest");

function oneOf<Known extends string>(known: readonly Known[], text: string, label: string): Known {
  const found = known.find((each) => each === text);
  if (found === undefined) throw new Error(`expected ${label} among ${known.join(", ")}, got ${text}`);
  return found;
}

/** Where a list goes on that is the newest first, and by id within a moment. */
export const rowsBefore = (before: Instant | RowPlace) =>
  typeof before === "number"
    ? { at: { lt: dateOf(before) } }
    : { OR: [{ at: { lt: dateOf(before.at) } }, { at: dateOf(before.at), id: { gt: before.id } }] };
