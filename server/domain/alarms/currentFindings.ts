import type { Evidence, Fault, FaultKind } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import { findFaults, withForecast } from "../findFaults.ts";
import type { Instant } from "../instant.ts";
import { momentText } from "../localTime.ts";
import { byKind } from "./advanceAlarms.ts";
import type { Alarm } from "./alarm.ts";

/** Why an alarm stands, or stood, as it can be said at this moment. */
export interface CurrentFinding {
  readonly reason: string;
  readonly evidence: readonly Evidence[];
}

/**
 * The present reason of each alarm: of a fault that is there, as it is now; of one that is gone, until when it was there and
 * what was told last; of one that can't be seen now, when it was last seen. No figure of the past is told as present.
 */
export function currentFindings(state: FeederState, now: Instant): (kind: FaultKind, alarm: Alarm) => CurrentFinding {
  let found: ReadonlyMap<FaultKind, Fault> | null = null; // a feeder without alarms needs no look
  const { zone } = state.settings;
  const at = (moment: Instant) => momentText(moment, zone, now);
  return (kind, alarm) => {
    const { finding, present, absentSince: goneAt = null } = alarm;
    if (present) {
      found ??= byKind(findFaults(withForecast({ ...state, hopperForecast: null }, now), now));
      const fault = found.get(kind);
      if (fault !== undefined) return fault;
      const seen =
        state.reporting.kind === "reporting"
          ? `When last heard, ${at(state.reporting.lastReportAt)}`
          : "When last seen";
      return { reason: `${seen}: ${finding.reason}`, evidence: finding.evidence };
    }
    if (finding.evidence.length === 0 && goneAt === null) return finding; // put aside before it was ever seen
    const until = goneAt === null ? "No longer so" : `No longer so since ${at(goneAt)}`;
    return { reason: `${until}. Before that: ${finding.reason}`, evidence: finding.evidence };
  };
}
