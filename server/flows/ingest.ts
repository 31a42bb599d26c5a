import type { FieldProblem } from "../contract/fieldProblem.ts";
import { type PostedReport, readReport } from "../contract/readReport.ts";
import type { Answer } from "../contract/report.ts";
import { highestStored } from "../domain/eventSequence.ts";
import { type Instant, isoOf, later, type Span } from "../domain/instant.ts";
import { type FeederRow, type Ports, StoreBusy, type StoredEvent, StoreFull, type Transaction } from "../ports.ts";
import { announce, save } from "./advance.ts";
import { type Advanced, begin } from "./pure/advanced.ts";
import { nextMoment } from "./pure/nextMoment.ts";
import { rangesOf, textOfRanges } from "./pure/seqRanges.ts";
import { type SortedOut, sortByBodies, surelyNew, takeReport } from "./pure/takeReport.ts";

/** How a posted report was taken. Only `answered` means that anything was stored. */
export type IngestOutcome =
  | { readonly kind: "answered"; readonly answer: Answer }
  | { readonly kind: "unreadable"; readonly errors: readonly FieldProblem[] }
  | { readonly kind: "bootReused"; readonly boot: string; readonly uptimeBefore: Span }
  | { readonly kind: "unknownFeeder" };

export interface Ingest {
  /**
   * Resolves after the commit: what the answer calls stored survives a power cut.
   * @throws StoreBusy, StoreFull: nothing was stored, the feeder keeps its events and tries again.
   */
  take(feeder: string, posted: unknown): Promise<IngestOutcome>;
}

/**
 * Reports that arrive together share one commit: a disk that syncs in 10 ms would otherwise allow a hundred reports a
 * second at the most. Nothing is read from the network while SQLite writes, so before each commit the event loop gets one
 * turn to read what has come meanwhile; there is no waiting for the sake of waiting.
 */
export function startIngest(ports: Ports): Ingest {
  let waiting: Pending[] = [];
  let running = false;

  async function run(): Promise<void> {
    running = true;
    while (waiting.length > 0) {
      await oneTurnOfTheLoop();
      const group = nextGroup(waiting);
      waiting = waiting.filter((pending) => !group.includes(pending));
      await commit(ports, group);
    }
    running = false;
  }

  return {
    take(feeder, posted) {
      const read = readReport(posted);
      if (read.kind === "unreadable") return Promise.resolve(read);
      return new Promise((resolve, reject) => {
        waiting.push({ feeder, report: read.report, receivedAt: ports.clock.now(), resolve, reject });
        if (!running) void run(); // never rejects: every outcome goes to whoever waits for it
      });
    },
  };
}

const oneTurnOfTheLoop = () => new Promise<void>((resolve) => setImmediate(resolve));

interface Pending {
  readonly feeder: string;
  readonly report: PostedReport;
  readonly receivedAt: Instant;
  resolve(outcome: IngestOutcome): void;
  reject(error: unknown): void;
}

const reportsPerCommit = 128;
const eventsPerCommit = 4_000; // more would make the first in the group wait for no gain

/** The oldest first, and one a feeder: a report is read in the light of what the same feeder's last one left. */
function nextGroup(waiting: readonly Pending[]): Pending[] {
  const group: Pending[] = [];
  const feeders = new Set<string>();
  let events = 0;
  for (const pending of waiting) {
    if (feeders.has(pending.feeder)) continue;
    feeders.add(pending.feeder);
    group.push(pending);
    events += pending.report.events.length;
    if (group.length >= reportsPerCommit || events >= eventsPerCommit) break;
  }
  return group;
}

async function commit(ports: Ports, group: readonly Pending[]): Promise<void> {
  try {
    const taken = await ports.store.transaction((tx) => takeGroup(ports, tx, group));
    for (const { pending, outcome } of taken.outcomes) pending.resolve(outcome);
    announce(ports, taken.feeders, taken.revisions);
  } catch (error) {
    // One report that trips over a bug of ours must not take the others of its group with it.
    const alone = group.length === 1 || error instanceof StoreBusy || error instanceof StoreFull;
    if (alone) for (const pending of group) pending.reject(error);
    else for (const pending of group) await commit(ports, [pending]);
  }
}

// --- inside the transaction ----------------------------------------------------------------------------------------

interface Taken {
  readonly outcomes: readonly { readonly pending: Pending; readonly outcome: IngestOutcome }[];
  readonly feeders: readonly Advanced[];
  readonly revisions: ReadonlyMap<string, number>;
}

async function takeGroup(ports: Ports, tx: Transaction, group: readonly Pending[]): Promise<Taken> {
  const rows = new Map((await tx.feeders(group.map(({ feeder }) => feeder))).map((row) => [row.id, row]));
  const outcomes: { pending: Pending; outcome: IngestOutcome }[] = [];
  const feeders: Advanced[] = [];
  const revisions = new Map<string, number>();
  const events: StoredEvent[] = [];
  const heartbeats = [];
  let now = 0 as Instant;

  for (const pending of group) {
    const row = rows.get(pending.feeder);
    const one: TakenOne = row ? await takeOne(tx, row, pending) : { outcome: { kind: "unknownFeeder" } };
    outcomes.push({ pending, outcome: one.outcome });
    if (!row || !("feeder" in one)) continue;
    now = later(now, one.receivedAt);
    feeders.push(one.feeder);
    for (const event of one.events) events.push(event);
    revisions.set(row.id, row.revision + 1);
    heartbeats.push({
      feeder: row.id,
      receivedAt: one.receivedAt,
      boot: pending.report.boot,
      sentUptimeMs: pending.report.sentUptime,
      readings: JSON.stringify(pending.report.postedReadings),
      seqs: textOfRanges(rangesOf(one.events.map(({ seq }) => seq))),
    });
  }
  await tx.appendEvents(events);
  await tx.appendHeartbeats(heartbeats);
  await save(ports, tx, feeders, now);
  return { outcomes, feeders, revisions };
}

type TakenOne =
  | { readonly outcome: IngestOutcome }
  | {
      readonly outcome: IngestOutcome;
      readonly receivedAt: Instant;
      readonly feeder: Advanced;
      readonly events: readonly StoredEvent[];
    };

async function takeOne(tx: Transaction, row: FeederRow, pending: Pending): Promise<TakenOne> {
  const { report } = pending;
  const { boot } = report;
  const receivedAt = nextMoment(row.steppedAt, pending.receivedAt);
  const sorted = await sortOut(tx, row, report);
  const taken = takeReport(begin(row), report, sorted.fresh, receivedAt);
  if (taken.kind === "bootReused") return { outcome: { kind: "bootReused", boot, uptimeBefore: taken.uptimeBefore } };

  const { feeder, orders } = taken;
  const refused = [...report.refused, ...sorted.refused];
  const dealtWith = Math.max(highestStored(feeder.state.sequence, boot) ?? 0, ...refused.map(({ seq }) => seq ?? 0));
  const answer: Answer = {
    storedThrough: dealtWith === 0 ? null : dealtWith,
    duplicates: sorted.duplicates,
    refused,
    serverTime: isoOf(receivedAt),
    nextReportSeconds: Math.round(feeder.state.settings.reportEvery / 1_000),
    orders: [...orders],
  };
  const events = taken.events.map(({ posted: { seq, kind, body }, recordedAt }) => {
    return { feeder: row.id, boot, seq, kind, receivedAt, recordedAt, body: JSON.stringify(body) };
  });
  return { outcome: { kind: "answered", answer }, receivedAt, feeder, events };
}

/** Exactly once: what may be stored already is looked up; by far the most reports ask nothing. */
async function sortOut(tx: Transaction, { id, state }: FeederRow, report: PostedReport): Promise<SortedOut> {
  if (surelyNew(state.sequence, report)) return { fresh: report.events, duplicates: 0, refused: [] };
  const seqs = report.events.map(({ seq }) => seq);
  return sortByBodies(report, await tx.bodiesOf(id, report.boot, seqs));
}
