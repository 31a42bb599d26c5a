import { composeDigest, type Digest } from "../domain/digest/digest.ts";
import { digestEmailSections } from "../domain/digest/digestEmail.ts";
import { dueDigest } from "../domain/digest/dueDigest.ts";
import { seasonWeather } from "../domain/digest/seasonWeather.ts";
import { after, between, hours, type Instant, later } from "../domain/instant.ts";
import { instantOfLocal, type LocalDate } from "../domain/localTime.ts";
import type { NotificationContent } from "../domain/notification/content.ts";
import type { Clock, DigestStore, OutboxSignal, RecordStore, Transaction, YardRow } from "../ports.ts";
import { readDigestFeeder } from "./digestFeeder.ts";
import { dueReminders } from "./dueReminders.ts";

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
 * Sends each yard the digest that is due by its local time. Called each minute; a late call sends what was missed, and an extra
 * call does nothing: the store has one digest for each local date.
 *
 * Digest and notifications are written in one transaction: after a crash there are either all or none, and the next minute tries
 * again.
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
  if (!yard.digestWanted || dueDigest(yard.zone, yard.digestTime, now) === null) return false; // each minute, so nothing is read from the store
  // Compared with the newest digest, not with this date's: after a change to a zone further west an older date would be due
  // again.
  const [newest = null] = await store.digests.dates(yard.id, 1);
  const date = dueDigest(yard.zone, yard.digestTime, now, newest);
  if (date === null) return false;
  // A feeder that was added after digest time has its first digest tomorrow.
  const dueAt = instantOfLocal(date, yard.digestTime, yard.zone);
  const feeders = (await store.digests.feedersOf(yard.id)).filter((feeder) => feeder.addedAt < dueAt);
  if (feeders.length === 0) return false;
  const feederDigests = [];
  for (const feeder of feeders) feederDigests.push(await readDigestFeeder(store, feeder, yard.zone, date, now));
  const weather = seasonWeather(feederDigests, now);
  const reminders = await dueReminders(store.digests, yard, { date, previous: newest, weather });
  const digest = composeDigest(yard, feederDigests, date, now, reminders);
  const readers = await store.digests.recipientsOf(yard.id);
  return store.transaction(async (tx) => {
    // Another process may have sent it meanwhile.
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

/** The local time after which a digest of the day before is of no use any more. */
const usefulUntil = "20:00";

/**
 * The only note that is pushed, since the keeper wants it: without sound, and without waking the phone. It expires in the
 * evening; one that is sent late gets two hours. An e-mail has room for the whole digest, a push for the short form.
 */
function digestContent(
  yard: YardRow,
  digest: Digest,
  date: LocalDate,
  by: "push" | "email",
  now: Instant,
): NotificationContent {
  const end = later(instantOfLocal(date, usefulUntil, yard.zone), after(now, hours(2)));
  return {
    fault: null,
    priority: "note",
    title: digest.title,
    body: digest.short,
    topic: `digest-${yard.id}`, // always the same: tomorrow's digest replaces today's if that is still under way
    timeToLive: between(now, end),
    silent: true,
    link: `/yards/${encodeURIComponent(yard.id)}/digest`,
    ...(by === "email" ? { emailSections: digestEmailSections(digest) } : {}),
  };
}
