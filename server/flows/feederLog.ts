import { bootLabel, bootNumber } from "../domain/bootNumber.ts";
import { isoOf } from "../domain/instant.ts";
import type { FeederRow, LogLine, RecordStore } from "../ports.ts";

/**
 * A feeder's whole log, in the form that replay reads: JSON lines, in the order of its steps, the settings first. It is read page by
 * page, so that ten years need no more memory than a day. It ends with the feeder's last step, so that its replay ends in the state
 * of `row`.
 */
export async function* feederLog(records: RecordStore, row: FeederRow): AsyncGenerator<string> {
  for (let last = -1; last < row.revision; ) {
    const page = await records.lines(row.id, last, row.revision, linesAtOnce);
    for (const line of page) {
      yield lineText(line, row);
      if (line.step === 0) yield `${JSON.stringify({ at: isoOf(row.addedAt), feeder: row.id, check: "complete" })}\n`;
    }
    const newest = page.at(-1);
    if (newest === undefined) return;
    last = newest.step;
  }
}

const linesAtOnce = 500;

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
