import { type PostedReport, readReport } from "../../contract/readReport.ts";
import { bootLabel } from "../../domain/bootNumber.ts";
import type { LogLine, ReportLine, SteppedState } from "../../ports.ts";
import { applyFact, type FeederUpdate, startUpdate } from "./feederUpdate.ts";
import { factOf, type LogEntry } from "./logEntry.ts";
import { takeReport } from "./takeReport.ts";

/**
 * The state after these lines of the log, from the one before them: each line is taken by the very steps by which it was taken live,
 * and by which a replay takes it. The quarters that close within them are stored already.
 * @throws Error for a line that can't be read
 */
export const rebuildState = (before: SteppedState, lines: readonly LogLine[]): SteppedState =>
  lines.reduce((stepped: SteppedState, line) => {
    const { state, rollups } = stepBy(updateOf(stepped), line);
    return { state, rollups };
  }, before);

function stepBy(before: FeederUpdate, { at, content }: LogLine): FeederUpdate {
  switch (content.kind) {
    case "check":
      return applyFact(before, { kind: "minutePassed" }, at);
    case "entry":
      return applyFact(before, factOf(JSON.parse(content.entry) as LogEntry, at, before.state.settings), at);
    case "report": {
      const report = storedReport(content);
      return takeReport(before, { ...report, boot: content.boot }, report.events, at, content.recalled).feeder;
    }
  }
}

/** A stored report, read as when it arrived; its readings are empty once they are thinned. */
function storedReport({ boot, sentUptimeMs, readings, events }: ReportLine): PostedReport {
  const posted = {
    boot: bootLabel(boot),
    sentUptimeMs,
    readings: JSON.parse(readings ?? "{}"),
    events: JSON.parse(events),
  };
  const read = readReport(posted);
  if (read.kind === "unreadable") throw new Error(`a stored report can't be read: ${read.errors[0]?.problem}`);
  return read.report;
}

/** Only its state and its roll-ups matter here. */
const updateOf = (stepped: SteppedState): FeederUpdate =>
  startUpdate({ id: "", yard: "", revision: 0, ...stepped, lastReportAt: null, lastStepAt: null });
