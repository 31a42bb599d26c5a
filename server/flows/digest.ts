import { composeDigest, type Digest } from "../domain/digest/digest.ts";
import { digestEmailSections } from "../domain/digest/digestEmail.ts";
import { dueDigest } from "../domain/digest/dueDigest.ts";
import { after, between, hours, type Instant, later } from "../domain/instant.ts";
import { instantOfLocal, type LocalDate } from "../domain/localTime.ts";
import type { NotificationContent } from "../domain/notification/content.ts";
import type { Clock, DigestStore, OutboxSignal, RecordStore, Transaction, YardRow } from "../ports.ts";
import { readDigestFeeder } from "./digestFeeder.ts";

export interface DigestPorts {
  readonly clock: Clock;
  readonly store: {
    readonly digests: DigestStore;
    readonly records: Pick<RecordStore, "alarmChanges" | "orders">;
    transaction<T>(work: (tx: Pick<Transaction, "claimDigest" | "enqueue">) => Promise<T>): Promise<T>;
  };
  readonly outboxSignal: OutboxSignal;
}

/**
 * Sends each yard the digest that is due by its own clock. Meant to be called each minute; a call that comes late makes up
 * for it, one too many does nothing: the store keeps digests by local date, and one date has one digest.
 *
 * Digest and notices are written in one transaction, so a crash leaves either all, or none and the next minute tries again.
 * @returns how many were sent
 * @throws AggregateError with the errors of the yards that failed, after all others got theirs
 */
export async function sendDueDigests(ports: DigestPorts): Promise<number> {
  const errors: unknown[] = [];
  let sent = 0;
  for (const yard of await ports.store.digests.yardsWithDigest()) {
    try {
      if (await sendDueDigest(ports, yard)) sent += 1;
    } catch (error) {
      errors.push(new Error(`the digest of yard ${yard.id} failed`, { cause: error }));
    }
  }
  if (sent > 0) ports.outboxSignal.notify();
  if (errors.length > 0) throw new AggregateError(errors, `${errors.length} digests failed and will be tried again`);
  return sent;
}

async function sendDueDigest({ clock, store }: DigestPorts, yard: YardRow): Promise<boolean> {
  const now = clock.now();
  if (!yard.digestWanted || dueDigest(yard.zone, yard.digestTime, now) === null) return false; // asked each minute: no store for that
  // By the newest one, and not by whether this date has one: a zone that was changed to the west would go back to an older date.
  const [newest = null] = await store.digests.dates(yard.id, 1);
  const date = dueDigest(yard.zone, yard.digestTime, now, newest);
  if (date === null) return false;
  // A feeder that was added since digest time has its first digest tomorrow.
  const dueAt = instantOfLocal(date, yard.digestTime, yard.zone);
  const feeders = (await store.digests.feedersOf(yard.id)).filter((feeder) => feeder.addedAt < dueAt);
  if (feeders.length === 0) return false;
  const told = [];
  for (const feeder of feeders) told.push(await readDigestFeeder(store, feeder, yard.zone, date, now));
  const digest = composeDigest(yard, told, date, now);
  const readers = await store.digests.recipientsOf(yard.id);
  return store.transaction(async (tx) => {
    // Another process may have been faster since we asked.
    if (!(await tx.claimDigest(yard.id, date, now, digest))) return false;
    for (const { person, digestBy } of readers) {
      for (const by of channelsFor[digestBy]) {
        await tx.enqueue(
          { person, channel: by, yard: yard.id, feeder: null, content: digestContent(yard, digest, date, by, now) },
          now,
        );
      }
    }
    return true;
  });
}

const channelsFor = { push: ["push"], email: ["email"], both: ["push", "email"], none: [] } as const;

/** When the keeper's day is over, and with it the use of a digest. */
const worthUntil = "20:00";

/**
 * The one note that is pushed, since the keeper asked for it: without sound, and without waking the phone. It ends with the
 * day; one that comes late in the day gets two hours. A letter has room for the whole, a phone's notice for the short form.
 */
function digestContent(
  yard: YardRow,
  digest: Digest,
  date: LocalDate,
  by: "push" | "email",
  now: Instant,
): NotificationContent {
  const end = later(instantOfLocal(date, worthUntil, yard.zone), after(now, hours(2)));
  return {
    fault: null,
    priority: "note",
    title: digest.title,
    body: digest.short,
    topic: `digest-${yard.id}`, // for good: tomorrow's replaces today's if that is still on its way
    timeToLive: between(now, end),
    silent: true,
    opens: `/yards/${encodeURIComponent(yard.id)}/digest`,
    ...(by === "email" ? { emailSections: digestEmailSections(digest) } : {}),
  };
}
