import type { Evidence, FaultKind, Priority } from "../faults.ts";
import type { Instant } from "../instant.ts";
import type { Probability } from "../units.ts";

/** What was known about the fault when it was last seen. */
export interface AlarmFinding {
  readonly reason: string;
  readonly evidence: readonly Evidence[];
  readonly confidence: Probability | null;
}

export interface Standing {
  /** The highest of its own rule and of the faults that it explains now. */
  readonly priority: Priority;
  readonly since: Instant; // when the fault was first seen
  readonly finding: AlarmFinding;
  /** Whether the fault itself was present at the last check, whatever the alarm's state is. */
  readonly present: boolean;
  /** The first check without the fault; left out or null while it is present, and where this is not known. */
  readonly absentSince?: Instant | null;
}

/** An alarm that is not in the normal state. States and terms of ANSI/ISA-18.2 and IEC 62682. */
export type Alarm =
  | (Standing & { readonly state: "suspected" })
  | (Standing & {
      readonly state: "unacknowledged";
      readonly raisedAt: Instant;
      readonly notifiedPriority: Priority;
      readonly absentSince: Instant | null; // null while the fault is there
    })
  | (Standing & {
      readonly state: "acknowledged";
      readonly raisedAt: Instant;
      readonly notifiedPriority: Priority;
      readonly acknowledgedAt: Instant;
      readonly acknowledgedBy: string;
      readonly absentSince: Instant | null; // null while the fault is there
    })
  | (Standing & {
      readonly state: "returnedUnacknowledged";
      readonly raisedAt: Instant;
      readonly returnedAt: Instant;
      readonly presentSince: Instant | null; // the fault is present again and its on-delay runs; null while it is absent
    })
  /** The fault has ended and may have done lasting damage: it waits until somebody acknowledges it, however long. */
  | (Standing & Latched & { readonly state: "latchedUnacknowledged" })
  /** Somebody knows of it; it waits until somebody has checked the feeder itself (a reset). */
  | (Standing &
      Latched & {
        readonly state: "latchedAcknowledged";
        readonly acknowledgedAt: Instant;
        readonly acknowledgedBy: string;
      })
  | (Standing & {
      readonly state: "shelved";
      readonly shelvedAt: Instant;
      readonly shelvedBy: string;
      readonly shelvedUntil: Instant;
      readonly latch: AlarmRaise | null;
    })
  | (Standing & {
      readonly state: "suppressedByDesign";
      readonly reason: string;
      /** The fault whose alarm covers this one; null where the reason is a pause or the feeder's placement. */
      readonly explainedBy: FaultKind | null;
      /** What it was before, so that the end of a suppression notifies nobody a second time. Null: it was never raised. */
      readonly raised: AlarmRaise | null;
    })
  /** Taken out by a keeper until a repair is done: only a keeper ends it. */
  | (Standing & {
      readonly state: "outOfService";
      readonly outSince: Instant;
      readonly outBy: string;
      readonly outReason: string;
      readonly latch: AlarmRaise | null;
    });

interface Latched {
  readonly raisedAt: Instant;
  readonly notifiedPriority: Priority;
  readonly returnedAt: Instant;
  readonly presentSince: Instant | null; // as above
}

/**
 * The raise of an alarm that people were notified of, and who has acknowledged it. As a `latch` of an alarm that is shelved or out of
 * service: it waits for its reset again when that ends.
 */
export interface AlarmRaise {
  readonly raisedAt: Instant;
  /** The priority of the last notification: people are notified again only when the priority rises above it. */
  readonly notifiedPriority: Priority;
  readonly acknowledged: { readonly at: Instant; readonly by: string } | null;
}

export type InState<State extends Alarm["state"]> = Extract<Alarm, { state: State }>;

export const findingOf = ({ reason, evidence, confidence }: AlarmFinding): AlarmFinding => ({
  reason,
  evidence,
  confidence,
});

/** Only what every alarm has. */
export const standingOf = ({ priority, since, finding, present, absentSince }: Standing): Standing => ({
  priority,
  since,
  finding,
  present,
  ...(absentSince === undefined ? {} : { absentSince }),
});

/** The raise of this alarm, if it has not ended; null where nobody was notified, or it has ended. */
export function raiseOf(alarm: Alarm): AlarmRaise | null {
  switch (alarm.state) {
    case "unacknowledged":
    case "latchedUnacknowledged":
      return { raisedAt: alarm.raisedAt, notifiedPriority: alarm.notifiedPriority, acknowledged: null };
    case "acknowledged":
    case "latchedAcknowledged": {
      const { raisedAt, notifiedPriority, acknowledgedAt, acknowledgedBy } = alarm;
      return { raisedAt, notifiedPriority, acknowledged: { at: acknowledgedAt, by: acknowledgedBy } };
    }
    case "suppressedByDesign":
      return alarm.raised;
    case "shelved":
    case "outOfService":
      return alarm.latch;
    case "suspected":
    case "returnedUnacknowledged":
      return null;
  }
}

/** The standing alarm as it was before: acknowledged or not. */
export function toStanding(
  standing: Standing,
  { raisedAt, notifiedPriority, acknowledged }: AlarmRaise,
): InState<"unacknowledged"> | InState<"acknowledged"> {
  const common = { ...standingOf(standing), raisedAt, notifiedPriority, absentSince: null };
  if (acknowledged === null) return { ...common, state: "unacknowledged" };
  return { ...common, state: "acknowledged", acknowledgedAt: acknowledged.at, acknowledgedBy: acknowledged.by };
}

/** The latched alarm as it was before: it waits to be acknowledged or reset. */
export function toLatched(
  standing: Standing,
  { raisedAt, notifiedPriority, acknowledged }: AlarmRaise,
  returnedAt: Instant,
  presentSince: Instant | null,
): InState<"latchedUnacknowledged"> | InState<"latchedAcknowledged"> {
  const common = { ...standingOf(standing), raisedAt, notifiedPriority, returnedAt, presentSince };
  if (acknowledged === null) return { ...common, state: "latchedUnacknowledged" };
  return { ...common, state: "latchedAcknowledged", acknowledgedAt: acknowledged.at, acknowledgedBy: acknowledged.by };
}
