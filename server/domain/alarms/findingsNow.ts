import type { Evidence, Fault, FaultKind } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import { findFaults, withForesight } from "../findFaults.ts";
import type { Instant } from "../instant.ts";
import { momentWords } from "../localTime.ts";
import { byKind } from "./advanceAlarms.ts";
import type { Alarm } from "./alarm.ts";

/** Why an alarm stands, or stood, as it can be said at this moment. */
export interface ShownFinding {
  readonly reason: string;
  readonly evidence: readonly Evidence[];
}

/**
 * The present reason of each alarm: of a fault that is there, as it is now; of one that is gone, until when it was there and
 * what was told last; of one that can't be seen now, when it was last seen. No figure of the past is told as present.
 */
export function findingsNow(state: FeederState, now: Instant): (kind: FaultKind, alarm: Alarm) => ShownFinding {
  let found: ReadonlyMap<FaultKind, Fault> | null = null; // a feeder without alarms needs no look
  const { zone } = state.settings;
  const at = (moment: Instant) => momentWords(moment, zone, now);
  return (kind, alarm) => {
    const { finding, present, goneAt = null } = alarm;
    if (present) {
      found ??= byKind(findFaults(withForesight({ ...state, foresight: null }, now), now));
      const fault = found.get(kind);
      if (fault !== undefined) return fault;
      const seen = state.link.kind === "heard" ? `When last heard, ${at(state.link.at)}` : "When last seen";
      return { reason: `${seen}: ${finding.reason}`, evidence: finding.evidence };
    }
    if (finding.evidence.length === 0 && goneAt === null) return finding; // put aside before it was ever seen
    const until = goneAt === null ? "No longer so" : `No longer so since ${at(goneAt)}`;
    return { reason: `${until}. Before that: ${finding.reason}`, evidence: finding.evidence };
  };
}
