import { eventsPerReportMax } from "../contract/report.ts";
import { bootLabel, bootNumber } from "../domain/bootNumber.ts";
import type { Instant } from "../domain/instant.ts";
import type { FeederRow, RecordStore, StoredHeartbeat } from "../ports.ts";
import { countOf, rangesOf, readRanges, type SeqRange } from "./pure/seqRanges.ts";
import type { RecordLine } from "./recordLine.ts";

/**
 * A feeder's reports in the order of receipt: the stored readings, and with them the events that were new then. The numbers of
 * those events are stored with each report.
 */
export async function* postedReports(
  records: RecordStore,
  { id }: FeederRow,
  until: Instant,
): AsyncGenerator<RecordLine> {
  let last: StoredHeartbeat | null = null;
  for (;;) {
    const page: readonly StoredHeartbeat[] = await records.heartbeats(id, last, until, heartbeatsAtOnce);
    for (const some of pagesByEventCount(page)) {
      const bodies = await bodiesOf(records, id, some);
      for (const { heartbeat, ranges } of some) {
        const { receivedAt, boot, sentUptimeMs, readings } = heartbeat;
        const events = bodies(boot, ranges);
        const rest = { boot: bootLabel(boot), sentUptimeMs, readings: JSON.parse(readings) as unknown };
        const number = bootNumber(boot);
        // More events than one report may have can only follow a late event; then they go on in a second one.
        for (let from = 0; from === 0 || from < events.length; from += eventsPerReportMax) {
          yield {
            at: receivedAt,
            entry: { bootNumber: number, report: { ...rest, events: events.slice(from, from + eventsPerReportMax) } },
          };
        }
      }
    }
    if (page.length < heartbeatsAtOnce) return;
    last = page.at(-1) ?? null;
  }
}

const heartbeatsAtOnce = 500;
/** A backlog is many full reports one after the other, and a page of those would need much memory. */
const eventsAtOnce = 1_000;

interface NumberedHeartbeat {
  readonly heartbeat: StoredHeartbeat;
  readonly ranges: readonly SeqRange[];
}

/** Reports one after the other together, while their events are not too many; a report with more is alone. */
function* pagesByEventCount(page: readonly StoredHeartbeat[]): Generator<readonly NumberedHeartbeat[]> {
  let some: NumberedHeartbeat[] = [];
  let count = 0;
  for (const heartbeat of page) {
    const ranges = readRanges(heartbeat.seqs);
    const more = countOf(ranges);
    if (some.length > 0 && count + more > eventsAtOnce) {
      yield some;
      [some, count] = [[], 0];
    }
    some.push({ heartbeat, ranges });
    count += more;
  }
  if (some.length > 0) yield some;
}

/** Reads once a boot all that these reports brought. */
async function bodiesOf(
  records: RecordStore,
  feeder: string,
  some: readonly NumberedHeartbeat[],
): Promise<(boot: string, ranges: readonly SeqRange[]) => readonly object[]> {
  const seqsOf = new Map<string, number[]>();
  for (const { heartbeat, ranges } of some) {
    const seqs = seqsOf.get(heartbeat.boot) ?? [];
    for (const seq of seqsIn(ranges)) seqs.push(seq);
    seqsOf.set(heartbeat.boot, seqs);
  }
  const bodies = new Map<string, ReadonlyMap<number, string>>();
  for (const [boot, seqs] of seqsOf) {
    if (seqs.length === 0) continue;
    const ranges = rangesOf(seqs.sort((a, b) => a - b));
    const found = await records.eventsBySeq({ feeder, boot }, ranges);
    bodies.set(boot, new Map(found.map(({ seq, body }) => [seq, body])));
  }
  return (boot, ranges) =>
    [...seqsIn(ranges)].flatMap((seq) => {
      const body = bodies.get(boot)?.get(seq);
      return body === undefined ? [] : [JSON.parse(body) as object];
    });
}

function* seqsIn(ranges: readonly SeqRange[]): Generator<number> {
  for (const { from, to } of ranges) for (let seq = from; seq <= to; seq += 1) yield seq;
}
