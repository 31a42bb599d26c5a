import { type FieldProblem, wholeBody } from "../contract/fieldProblem.ts";
import type { BareNumber } from "../contract/lenientJson.ts";
import { type PostedReport, readReport } from "../contract/readReport.ts";
import { type Answer, seqMax } from "../contract/report.ts";
import { benchReportInterval } from "../domain/benchRun/benchRun.ts";
import { highestStoredSeq } from "../domain/eventSequence.ts";
import type { FeederState } from "../domain/feeder.ts";
import { earlier, type Instant, isoOf, later, minutes, type Span, seconds } from "../domain/instant.ts";
import { rangesOf, textOfRanges } from "../domain/seqRanges.ts";
import {
  FeederDamaged,
  type FeederRow,
  isStoreProblem,
  type Ports,
  type ReportLine,
  type Transaction,
} from "../ports.ts";
import { texts } from "../text/index.ts";
import { ownEventLoopTurn } from "./eventLoopTurn.ts";
import { applyKeeperAction } from "./keeperActions.ts";
import { type FeederUpdate, startUpdate } from "./pure/feederUpdate.ts";
import { nextMoment } from "./pure/nextMoment.ts";
import { planToSend } from "./pure/sentPlan.ts";
import { sortEvents } from "./pure/sortEvents.ts";
import { type PlacedEvent, type TakenReport, takeReport } from "./pure/takeReport.ts";
import { announceUpdates, type LoggedUpdate, saveUpdates } from "./saveUpdates.ts";

/** The result of a posted report. Only with `answered` was anything stored. */
export type IngestOutcome =
  | { readonly kind: "answered"; readonly answer: Answer }
  | { readonly kind: "unreadable"; readonly errors: readonly FieldProblem[] }
  | { readonly kind: "bootUnclear"; readonly boot: string; readonly uptimeBefore: Span | null }
  | { readonly kind: "unknownFeeder" };

export interface Ingest {
  /**
   * Resolves after the commit: what the answer calls stored survives a power cut.
   * @param bare NaN and infinity in the text of its events
   * @param json the report as it was sent; null where it isn't known
   * @throws StoreBusy, StoreFull, StoreReadOnly, StoreDamaged: nothing was stored, the feeder keeps its events and tries again.
   */
  take(feeder: string, posted: unknown, bare?: readonly BareNumber[], json?: string | null): Promise<IngestOutcome>;
  /**
   * A report was refused: a sign of life, and the keeper is shown this problem. Stored at most twice a minute.
   * @returns whether to write a line in the server's log
   */
  recordRefused(feeder: string, problem: FieldProblem): Promise<boolean>;
}

/**
 * Reports that arrive together share one commit, and those that arrive while the disk writes share its next turn: a disk that takes
 * 10 ms would otherwise allow at most a hundred reports a second. Before each commit the event loop reads what has arrived meanwhile.
 * There is no other delay.
 * @param metDamaged a report came from a feeder whose stored state can't be used
 */
export function createIngest(ports: Ports, metDamaged: () => void = () => undefined): Ingest {
  let waiting: Pending[] = [];
  let running = false;

  async function run(): Promise<void> {
    running = true;
    while (waiting.length > 0) {
      await ownEventLoopTurn();
      const group = nextGroup(waiting);
      waiting = waiting.filter((pending) => !group.includes(pending));
      await commitGroup(ports, group, metDamaged);
    }
    running = false;
  }

  return {
    take(feeder, posted, bare = [], json = null) {
      const read = readReport(posted, bare, json);
      if (read.kind === "unreadable") return Promise.resolve(read);
      return new Promise((resolve, reject) => {
        waiting.push({ feeder, report: read.report, receivedAt: ports.clock.now(), resolve, reject });
        if (!running) void run(); // never rejects: each result goes to its caller
      });
    },
    recordRefused: refusalRecorder(ports),
  };
}

const recordedEvery = seconds(30); // a silence is detected after three times that at the earliest
const loggedEvery = minutes(10);
const feedersRecordedMax = 10_000;

function refusalRecorder(ports: Ports): Ingest["recordRefused"] {
  const notes = new Map<string, { readonly at: Instant; readonly loggedAt: Instant }>();
  return async (feeder, problem) => {
    const now = ports.clock.now();
    const noted = notes.get(feeder);
    if (noted && now >= noted.at && now < noted.at + recordedEvery) return false;
    const logs = noted === undefined || now < noted.loggedAt || now >= noted.loggedAt + loggedEvery;
    if (notes.size >= feedersRecordedMax) notes.clear();
    notes.set(feeder, { at: now, loggedAt: logs ? now : noted.loggedAt });
    const named = problem.field === wholeBody ? { ...problem, field: texts.feederReports.wholeReport } : problem;
    await applyKeeperAction(ports, feeder, null, () => ({ kind: "reportRefused", problem: named }));
    return logs;
  };
}

interface Pending {
  readonly feeder: string;
  readonly report: PostedReport;
  readonly receivedAt: Instant;
  resolve(outcome: IngestOutcome): void;
  reject(error: unknown): void;
}

/** A pause waits for one group at most, so a group is small: more would win little. */
const reportsPerCommit = 32;
const eventsPerCommit = 1_000;

/** The oldest first, and one a feeder: a report is judged by the state that the same feeder's last one left. */
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

async function commitGroup(ports: Ports, group: readonly Pending[], metDamaged: () => void): Promise<void> {
  try {
    const taken = await ports.store.transaction((tx) => takeGroup(ports, tx, group));
    for (const { pending, outcome } of taken.outcomes) pending.resolve(outcome);
    announceUpdates(ports, taken.feeders, taken.revisions);
  } catch (error) {
    // A report that meets a bug of the server must not fail the others of its group.
    if (error instanceof FeederDamaged && group.length === 1) metDamaged();
    const alone = group.length === 1 || isStoreProblem(error);
    if (alone) for (const pending of group) pending.reject(error);
    else for (const pending of group) await commitGroup(ports, [pending], metDamaged);
  }
}

// --- inside the transaction ----------------------------------------------------------------------------------------

interface GroupResult {
  readonly outcomes: readonly { readonly pending: Pending; readonly outcome: IngestOutcome }[];
  readonly feeders: readonly FeederUpdate[];
  readonly revisions: ReadonlyMap<string, number>;
}

async function takeGroup(ports: Ports, tx: Transaction, group: readonly Pending[]): Promise<GroupResult> {
  const rows = new Map((await tx.feeders(group.map(({ feeder }) => feeder))).map((row) => [row.id, row]));
  const outcomes: { pending: Pending; outcome: IngestOutcome }[] = [];
  const updates: LoggedUpdate[] = [];
  const revisions = new Map<string, number>();
  let now = 0 as Instant;

  for (const pending of group) {
    const row = rows.get(pending.feeder);
    const one: ReportResult = row ? await takeReportOf(tx, row, pending) : { outcome: { kind: "unknownFeeder" } };
    outcomes.push({ pending, outcome: one.outcome });
    if (!row || !("update" in one)) continue;
    now = later(now, one.update.line.at);
    updates.push(one.update);
    revisions.set(row.id, row.revision + 1);
  }
  await saveUpdates(ports, tx, updates, now);
  return { outcomes, feeders: updates.map(({ feeder }) => feeder), revisions };
}

type ReportResult =
  | { readonly outcome: IngestOutcome }
  | { readonly outcome: IngestOutcome; readonly update: LoggedUpdate };

async function takeReportOf(tx: Transaction, row: FeederRow, pending: Pending): Promise<ReportResult> {
  const { report } = pending;
  const receivedAt = nextMoment(row.lastStepAt, pending.receivedAt);
  const sorted = await sortEvents(row.state, report, receivedAt, {
    read: (boot, seqs) => tx.storedEventBodies(row.id, boot, seqs),
    bootsOf: (label) => tx.storedBoots(row.id, label),
  });
  if (sorted.kind === "unclear") {
    return { outcome: { kind: "bootUnclear", boot: report.boot, uptimeBefore: sorted.uptimeBefore } };
  }
  const { boot, newEvents, duplicates, recalledBoots } = sorted;
  const taken = takeReport(startUpdate(row), { ...report, boot }, newEvents, receivedAt, recalledBoots);

  const { feeder, orders } = taken;
  const refused = [...report.refused, ...sorted.refused];
  const plan = planToSend(feeder.state);
  const answer: Answer = {
    storedThrough: storedThrough(report, sorted.unstored, highestStoredSeq(feeder.state.eventSequence, boot) ?? 0),
    duplicates,
    refused,
    unknown: [...report.unknownNames],
    serverTime: isoOf(receivedAt),
    nextReportSeconds: Math.round(reportInterval(feeder.state) / 1_000),
    orders: [...orders],
    ...(plan === undefined ? {} : { plan }),
  };
  const content = reportLine(report, boot, recalledBoots, taken);
  return { outcome: { kind: "answered", answer }, update: { feeder, line: { at: receivedAt, content } } };
}

/** While a keeper stands beside the feeder, what it reports is shown within seconds. */
const reportInterval = ({ bench, settings: { reportEvery } }: FeederState): Span =>
  Math.min(reportEvery, benchReportInterval(bench) ?? reportEvery) as Span;

function reportLine(
  report: PostedReport,
  boot: string,
  recalled: ReportLine["recalled"],
  { events, bootedAt }: TakenReport,
): ReportLine {
  return {
    kind: "report",
    boot,
    sentUptimeMs: report.sentUptime,
    seqs: textOfRanges(rangesOf(events.map(({ posted }) => posted.seq))),
    bootedAt,
    eventSpan: spanOf(events),
    recalled,
    readings: oneLine(report.readingsText) ?? JSON.stringify(report.postedReadings),
    events: storedEvents(report, events),
  };
}

/** As sent where every event is new and they are in order; their text is then not made again. */
function storedEvents(report: PostedReport, events: readonly PlacedEvent[]): string {
  const isWhole =
    report.events.length === events.length && events.every(({ posted }, at) => posted === report.events[at]);
  const asSent = isWhole ? oneLine(report.eventsText) : null;
  return asSent ?? JSON.stringify(events.map(({ posted }) => posted.body));
}

/** The log has one line a step. */
const oneLine = (text: string | null): string | null => (text === null || /[\n\r]/.test(text) ? null : text);

function spanOf(events: readonly PlacedEvent[]): ReportLine["eventSpan"] {
  if (events.length === 0) return null;
  let [first, last] = [Number.POSITIVE_INFINITY as Instant, 0 as Instant];
  for (const { recordedAt } of events) {
    first = earlier(first, recordedAt);
    last = later(last, recordedAt);
  }
  return { first, last };
}

/**
 * Only about the events of this report, not of another start of the feeder. An event that can't be read counts as done, or it
 * would be sent for ever; an event that is not stored doesn't, nor does any after it. Its number may be what is damaged, so it
 * counts only up to the number directly after the stored ones.
 * @param highest the highest number that is stored of this start
 */
function storedThrough({ events, refused }: PostedReport, unstored: readonly number[], highest: number): number | null {
  const firstUnstored = unstored.reduce((least, seq) => Math.min(least, seq), Number.POSITIVE_INFINITY);
  const mayCover = (seq: number) => seq < firstUnstored;
  let through = events.reduce((most, { seq }) => (mayCover(seq) ? Math.max(most, seq) : most), 0);
  let seen = Math.max(through, highest);
  const unreadable = refused.flatMap(({ seq }) => (seq !== null && isSeq(seq) ? [seq] : []));
  for (const seq of unreadable.sort((a, b) => a - b)) {
    if (!mayCover(seq) || seq > seen + 1) break;
    seen = Math.max(seen, seq);
    through = Math.max(through, seq);
  }
  return through === 0 ? null : through;
}

/** An impossible number must not cover possible ones. */
const isSeq = (seq: number): boolean => Number.isSafeInteger(seq) && seq >= 1 && seq <= seqMax;
