import { texts } from "../../text/index.ts";
import type { Evidence, Fault, FaultKind } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import { findFaults, withForecast } from "../findFaults.ts";
import type { Instant } from "../instant.ts";
import { momentText } from "../localTime.ts";
import { faultsByKind } from "./advanceAlarms.ts";
import type { Alarm } from "./alarm.ts";

/** The reason of an alarm and its evidence, as known at this moment. */
export interface CurrentFinding {
  readonly reason: string;
  readonly evidence: readonly Evidence[];
}

/**
 * The present reason of each alarm: of a present fault, as it is now; of one that has ended, its end and its last reason; of
 * one that can't be observed now, when it was last observed. No past figure is shown as present.
 */
export function currentFindings(state: FeederState, now: Instant): (kind: FaultKind, alarm: Alarm) => CurrentFinding {
  let found: ReadonlyMap<FaultKind, Fault> | null = null; // a feeder without alarms needs no check
  const { zone } = state.settings;
  const at = (moment: Instant) => momentText(moment, zone, now);
  return (kind, alarm) => {
    const { finding, present, absentSince = null } = alarm;
    if (present) {
      found ??= faultsByKind(findFaults(withForecast({ ...state, hopperForecast: null }, now), now));
      const fault = found.get(kind);
      if (fault !== undefined) return fault;
      const seen =
        state.reporting.kind === "reporting"
          ? texts.alarms.atLastReport(at(state.reporting.lastReportAt))
          : texts.alarms.whenLastKnown;
      return { reason: texts.alarms.knownThen(seen, finding.reason), evidence: finding.evidence };
    }
    if (finding.evidence.length === 0 && absentSince === null) return finding; // shelved before it was ever detected
    const ended = absentSince === null ? texts.alarms.ended : texts.alarms.endedAt(at(absentSince));
    return { reason: texts.alarms.endedEarlier(ended, finding.reason), evidence: finding.evidence };
  };
}
