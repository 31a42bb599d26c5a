import { type PostedReport, readReport } from "../../contract/readReport.ts";
import { bootLabel } from "../../domain/bootNumber.ts";
import { newFeeder } from "../../domain/feeder.ts";
import { initialRollups } from "../../domain/history/rollups.ts";
import type { LogLine, RebuildState, ReportLine, SteppedState } from "../../ports.ts";
import { applyFact, type FeederUpdate, startUpdate } from "./feederUpdate.ts";
import { factOf, type LogEntry } from "./logEntry.ts";
import { defaultSettings } from "./requestedSettings.ts";
import { takeReport } from "./takeReport.ts";

/**
 * The state after these lines of the log, from the one before them: each line is taken by the very steps by which it was taken live,
 * and by which a replay takes it.
 */
export const rebuildState: RebuildState = (before, lines, onClosed) => {
  let stepped = before;
  for (const line of lines) {
    if (stepped === null) {
      stepped = firstState(line);
      continue;
    }
    const { state, rollups, closedQuarters } = stepBy(updateOf(stepped), line);
    if (closedQuarters.length > 0) onClosed?.(closedQuarters);
    stepped = { state, rollups };
  }
  if (stepped === null) throw new Error("expected at least one line of a log");
  return stepped;
};

/** The first line of a feeder's log has all of its settings. */
function firstState({ step, at, content }: LogLine): SteppedState {
  const usual = defaultSettings({ practice: false, place: null, zone: "UTC" }, "");
  const fact = content.kind === "entry" ? factOf(JSON.parse(content.entry) as LogEntry, at, usual) : null;
  if (fact?.kind !== "settingsChanged") throw new Error(`expected a feeder's settings in step ${step} of its log`);
  return { state: newFeeder(fact.settings, at), rollups: initialRollups() };
}

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
