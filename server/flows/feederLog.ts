import { bootLabel, bootNumber } from "../domain/bootNumber.ts";
import { type Instant, isoOf } from "../domain/instant.ts";
import { type DamagedLines, type FeederRow, type LogLine, PackDamaged, type RecordStore } from "../ports.ts";

/**
 * A feeder's whole log, in the form that replay reads: JSON lines, in the order of its steps, the settings first. It is read page by
 * page, so that ten years need no more memory than a day. It ends with the feeder's last step, so that its replay ends in the state
 * of `row`. Lines say where readings were dropped, and which lines can't be read.
 * @param after the step after which it begins; left out: with the first
 */
export async function* feederLog(records: LogRecords, row: LoggedFeeder, after = -1): AsyncGenerator<string> {
  for (let last = after; last < row.revision; ) {
    const page = await nextPage(records, row, last);
    if ("damaged" in page) {
      const { firstAt, lastAt, lastStep } = page.damaged;
      yield missingText(row, firstAt, { what: "all", until: lastAt });
      last = lastStep;
      continue;
    }
    for (const line of page.lines) {
      yield lineText(line, row);
      if (line.step === 0) yield* afterFirst(row, await records.thinnedUntil(row.id));
    }
    const newest = page.lines.at(-1);
    if (newest === undefined) return;
    last = newest.step;
  }
}

type LogRecords = Pick<RecordStore, "lines" | "thinnedUntil">;
type LoggedFeeder = Pick<FeederRow, "id" | "addedAt" | "revision">;

const linesAtOnce = 500;

async function nextPage(
  records: LogRecords,
  { id, revision }: LoggedFeeder,
  last: number,
): Promise<{ readonly lines: readonly LogLine[] } | { readonly damaged: DamagedLines }> {
  try {
    return { lines: await records.lines(id, last, revision, linesAtOnce) };
  } catch (error) {
    if (error instanceof PackDamaged) return { damaged: error.lines };
    throw error;
  }
}

function* afterFirst(row: LoggedFeeder, thinnedUntil: Instant | null): Generator<string> {
  yield `${JSON.stringify({ at: isoOf(row.addedAt), feeder: row.id, check: "complete" })}\n`;
  if (thinnedUntil !== null) yield missingText(row, row.addedAt, { what: "readings", until: thinnedUntil });
}

const missingText = (
  { id }: LoggedFeeder,
  at: Instant,
  { what, until }: { readonly what: "readings" | "all"; readonly until: Instant },
): string => `${JSON.stringify({ at: isoOf(at), feeder: id, missing: { what, until: isoOf(until) } })}\n`;

/** What is stored as JSON is put into the line as it is. */
function lineText({ at, content }: LogLine, { id }: LoggedFeeder): string {
  const head = (name: string) => `{"${name}":"${isoOf(at)}","feeder":${JSON.stringify(id)}`;
  switch (content.kind) {
    case "check":
      return `${head("at")},"check":"checked"}\n`;
    case "entry":
      return `${head("at")},${content.entry.slice(1)}\n`;
    case "report": {
      const { boot, sentUptimeMs, readings, events } = content;
      const report = `{"boot":${JSON.stringify(bootLabel(boot))},"sentUptimeMs":${sentUptimeMs},"readings":${readings ?? "{}"},"events":${events}}`;
      return `${head("receivedAt")},"bootNumber":${bootNumber(boot)},"report":${report}}\n`;
    }
  }
}
