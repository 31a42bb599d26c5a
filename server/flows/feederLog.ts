import { bootLabel, bootNumber } from "../domain/bootNumber.ts";
import { type Instant, isoOf } from "../domain/instant.ts";
import { type DamagedLines, type FeederRow, type LogLine, PackDamaged, type RecordStore } from "../ports.ts";

/**
 * A feeder's whole log, in the form that replay reads: JSON lines, in the order of its steps, the settings first. It is read page by
 * page, so that ten years need no more memory than a day. It ends with the feeder's last step, so that its replay ends in the state
 * of `row`. Lines say where readings were dropped, and which lines can't be read.
 */
export async function* feederLog(records: RecordStore, row: FeederRow): AsyncGenerator<string> {
  for (let last = -1; last < row.revision; ) {
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

const linesAtOnce = 500;

async function nextPage(
  records: RecordStore,
  { id, revision }: FeederRow,
  last: number,
): Promise<{ readonly lines: readonly LogLine[] } | { readonly damaged: DamagedLines }> {
  try {
    return { lines: await records.lines(id, last, revision, linesAtOnce) };
  } catch (error) {
    if (error instanceof PackDamaged) return { damaged: error.lines };
    throw error;
  }
}

function* afterFirst(row: FeederRow, thinnedUntil: Instant | null): Generator<string> {
  yield `${JSON.stringify({ at: isoOf(row.addedAt), feeder: row.id, check: "complete" })}\n`;
  if (thinnedUntil !== null) yield missingText(row, row.addedAt, { what: "readings", until: thinnedUntil });
}

const missingText = (
  { id }: FeederRow,
  at: Instant,
  { what, until }: { readonly what: "readings" | "all"; readonly until: Instant },
): string => `${JSON.stringify({ at: isoOf(at), feeder: id, missing: { what, until: isoOf(until) } })}\n`;

/** What is stored as JSON is put into the line as it is. */
function lineText({ at, content }: LogLine, { id }: FeederRow): string {
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
