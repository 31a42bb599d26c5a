import { dueDigest } from "../domain/digest/due.ts";
import { type Digest, digestOf } from "../domain/digest/words.ts";
import type { Notice } from "../domain/facts.ts";
import { after, between, hours, type Instant, later } from "../domain/instant.ts";
import { addLocalDays, instantOfLocal, type LocalDate } from "../domain/localTime.ts";
import type { Clock, DigestStore, FeederRow, OutboxBell, Transaction, YardRow } from "../ports.ts";

export interface DigestPorts {
  readonly clock: Clock;
  readonly store: {
    readonly digests: DigestStore;
    transaction<T>(work: (tx: Pick<Transaction, "claimDigest" | "enqueue">) => Promise<T>): Promise<T>;
  };
  readonly bell: OutboxBell;
}

/**
 * Sends each yard the digest that is due by its own clock. Meant to be called each minute; a call that comes late makes up
 * for it, one too many does nothing: the store keeps digests by local date, and one date has one digest.
 *
 * Digest and notice are written in one transaction, so a crash leaves either both, or neither and the next minute tries again.
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
  if (sent > 0) ports.bell.ring();
  if (errors.length > 0) throw new AggregateError(errors, `${errors.length} digests failed and will be tried again`);
  return sent;
}

async function sendDueDigest({ clock, store }: DigestPorts, yard: YardRow): Promise<boolean> {
  const now = clock.now();
  const date = yard.digestWanted ? dueDigest(yard.zone, yard.digestTime, now) : null;
  if (date === null || (await store.digests.hasDigest(yard.id, date))) return false;
  // The day that is told ended at digest time: a feeder that was added since has its first digest tomorrow.
  const dayEnd = instantOfLocal(date, yard.digestTime, yard.zone);
  const feeders = (await store.digests.feedersOf(yard.id)).filter((feeder) => feeder.addedAt < dayEnd);
  if (feeders.length === 0) return false;
  const digest = await writeDigest(store.digests, yard, feeders, date, now);
  const readers = await store.digests.readersOf(yard.id);
  return store.transaction(async (tx) => {
    // Another process may have been faster since we asked.
    if (!(await tx.claimDigest(yard.id, date, now, digest.title, digest.lines))) return false;
    const notice = digestNotice(yard, digest, date, now);
    for (const { person, digestBy } of readers) {
      for (const by of waysOf[digestBy]) await tx.enqueue({ person, by, yard: yard.id, feeder: null, notice }, now);
    }
    return true;
  });
}

/** The birds' day runs from digest time to digest time, also where this one is late: no visit is told twice or left out. */
async function writeDigest(
  digests: DigestStore,
  yard: YardRow,
  feeders: readonly FeederRow[],
  date: LocalDate,
  now: Instant,
): Promise<Digest> {
  const from = instantOfLocal(addLocalDays(date, -1), yard.digestTime, yard.zone);
  const to = instantOfLocal(date, yard.digestTime, yard.zone);
  const told = feeders.map(async ({ id, state }) => ({
    name: state.settings.name,
    state,
    tally: await digests.tally(id, from, to),
  }));
  return digestOf(yard, await Promise.all(told), date, now);
}

const waysOf = { push: ["push"], mail: ["mail"], both: ["push", "mail"], none: [] } as const;

/** When the keeper's day is over, and with it the use of a digest. */
const evening = "20:00";

/**
 * The one note that is pushed, since the keeper asked for it: without sound, and without waking the phone. It ends with the
 * day; one that comes late in the day gets two hours.
 */
function digestNotice(yard: YardRow, digest: Digest, date: LocalDate, now: Instant): Notice {
  const end = later(instantOfLocal(date, evening, yard.zone), after(now, hours(2)));
  return {
    fault: null,
    priority: "note",
    title: digest.title,
    body: digest.lines.join("\n"),
    topic: `digest-${yard.id}`, // for good: tomorrow's replaces today's if that is still on its way
    timeToLive: between(now, end),
    quiet: true,
  };
}
