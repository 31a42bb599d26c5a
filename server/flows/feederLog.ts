import { type Instant, isoOf } from "../domain/instant.ts";
import type { FeederRow, RecordStore } from "../ports.ts";
import { postedReports } from "./postedReports.ts";
import type { LogEntry } from "./pure/logEntry.ts";
import { loggedSettings } from "./pure/loggedSettings.ts";
import type { RecordLine } from "./recordLine.ts";

/**
 * A feeder's whole log, in the form that replay reads: JSON lines, in time order, the settings first. It is read page by page, so
 * that ten years need no more memory than a day. It ends with the feeder's last step, so that its replay ends in the state of
 * `row`.
 */
export async function* feederLog(records: RecordStore, row: FeederRow, now: Instant): AsyncGenerator<string> {
  const until = row.lastStepAt ?? now;
  const [begun] = await records.logEntries(row.id, null, until, 1);
  const first = begun ? (JSON.parse(begun.entry) as LogEntry) : { settings: loggedSettings(row.state.settings) };
  yield lineText({ at: row.addedAt, entry: first }, row);

  yield lineText({ at: row.addedAt, entry: { check: "complete" } }, row);
  const actions = mergeByTime(readLogEntries(records, row, until), readChecks(records, row, until));
  for await (const line of mergeByTime(postedReports(records, row, until), actions)) yield lineText(line, row);
}

function lineText({ at, entry }: RecordLine, { id }: FeederRow): string {
  const when = "report" in entry ? { receivedAt: isoOf(at) } : { at: isoOf(at) };
  return `${JSON.stringify({ ...when, feeder: id, ...entry })}\n`;
}

/** No two are at the same moment: see `pure/nextMoment.ts`. */
async function* mergeByTime(
  first: AsyncIterator<RecordLine>,
  second: AsyncIterator<RecordLine>,
): AsyncGenerator<RecordLine> {
  let [a, b] = [await first.next(), await second.next()];
  for (;;) {
    if (!a.done && (b.done || a.value.at <= b.value.at)) {
      yield a.value;
      a = await first.next();
    } else if (!b.done) {
      yield b.value;
      b = await second.next();
    } else return;
  }
}

const atOnce = 500;

/** The entries after the first one, with which the log begins. */
async function* readLogEntries(records: RecordStore, row: FeederRow, until: Instant): AsyncGenerator<RecordLine> {
  for (let last = row.addedAt; ; ) {
    const page = await records.logEntries(row.id, last, until, atOnce);
    for (const { at, entry } of page) {
      yield { at, entry: JSON.parse(entry) as LogEntry };
      last = at;
    }
    if (page.length < atOnce) return;
  }
}

async function* readChecks(records: RecordStore, { id }: FeederRow, until: Instant): AsyncGenerator<RecordLine> {
  for (let last: Instant | null = null; ; ) {
    const page: readonly Instant[] = await records.checks(id, last, until, atOnce);
    for (const at of page) yield { at, entry: { check: "checked" } };
    last = page.at(-1) ?? last;
    if (page.length < atOnce) return;
  }
}
