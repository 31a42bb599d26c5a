import type { FaultKind, Priority } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import type { Instant } from "../instant.ts";
import type { Alarm, AlarmFinding } from "./alarm.ts";

/** Alarms as states of version 1 to 3 hold them. */
export type AlarmsV3 = { readonly [kind in FaultKind]?: AlarmV3 };

interface StandingV3 {
  readonly priority: Priority;
  readonly since: Instant;
  readonly finding: AlarmFinding;
}
interface RaisedV3 {
  readonly raisedAt: Instant;
  readonly acknowledged: { readonly at: Instant; readonly by: string } | null;
}
type AlarmV3 = StandingV3 &
  (
    | { readonly phase: "suspected" }
    | { readonly phase: "unacknowledged"; readonly raisedAt: Instant; readonly awaySince: Instant | null }
    | {
        readonly phase: "acknowledged";
        readonly raisedAt: Instant;
        readonly acknowledgedAt: Instant;
        readonly acknowledgedBy: string;
        readonly awaySince: Instant | null;
      }
    | {
        readonly phase: "returnedUnacknowledged";
        readonly raisedAt: Instant;
        readonly returnedAt: Instant;
        readonly backSince: Instant | null;
      }
    | {
        readonly phase: "shelved";
        readonly shelvedAt: Instant;
        readonly shelvedBy: string;
        readonly shelvedUntil: Instant;
        readonly present: boolean;
      }
    | { readonly phase: "suppressedByDesign"; readonly why: string; readonly raised: RaisedV3 | null }
  );

export function alarmsFromV3(old: AlarmsV3): FeederState["alarms"] {
  const alarms: { [kind in FaultKind]?: Alarm } = {};
  for (const [kind, alarm] of Object.entries(old) as [FaultKind, AlarmV3][]) alarms[kind] = alarmFromV3(alarm);
  return alarms;
}

/** Each was told as its rule's own priority, and whether its fault was there at the last look can be read off. */
function alarmFromV3(old: AlarmV3): Alarm {
  const called = old.priority;
  switch (old.phase) {
    case "suspected":
      return { ...old, present: true };
    case "unacknowledged":
    case "acknowledged":
      return { ...old, called, present: old.awaySince === null };
    case "returnedUnacknowledged":
      return { ...old, present: old.backSince !== null };
    case "shelved":
      return { ...old, latch: null }; // whether it had been raised wasn't kept
    case "suppressedByDesign": {
      const raised = old.raised === null ? null : { ...old.raised, called };
      // Which fault explains it was only said in words; the next look finds it again.
      return { ...old, raised, explainedBy: null, present: true };
    }
  }
}
