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
  /** The gravest of its own rule and of what it explains now. */
  readonly priority: Priority;
  readonly since: Instant; // when the fault was first seen
  readonly finding: AlarmFinding;
  /** Whether the fault itself was there at the last look, whatever the alarm makes of it. */
  readonly present: boolean;
  /** When a look first missed the fault; left out or null while it is there, and where nobody knows. */
  readonly absentSince?: Instant | null;
}

/** An alarm that is not in the normal state. States and words of ANSI/ISA-18.2 and IEC 62682. */
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
      readonly presentSince: Instant | null; // the fault is there again and its on-delay runs; null while it stays away
    })
  /** The fault is gone and may have done lasting damage: it waits for somebody who has seen it, however long. */
  | (Standing & Latched & { readonly state: "latchedUnacknowledged" })
  /** Somebody knows of it; it waits until somebody says to have looked at the thing itself (a reset). */
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
      /** The fault whose alarm speaks for this one; null where no fault explains it, but a pause or the feeder's duty. */
      readonly explainedBy: FaultKind | null;
      /** What it was before, so that the end of a suppression tells nobody a second time. Null: it was never raised. */
      readonly raised: AlarmRaise | null;
    })
  /** Taken out by hand, for as long as the thing is mended: it ends only by hand. */
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
 * An alarm that somebody was told of, and who has acknowledged it. As a `latch` of one that was set aside: it waits for its
 * reset again when that is over.
 */
export interface AlarmRaise {
  readonly raisedAt: Instant;
  /** As what it was last told of: it is told anew only when it grows graver than that. */
  readonly notifiedPriority: Priority;
  readonly acknowledged: { readonly at: Instant; readonly by: string } | null;
}

export type InState<Phase extends Alarm["state"]> = Extract<Alarm, { state: Phase }>;

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

/** That this alarm was told of and not yet come to its end; null where nobody was told, or it is over. */
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

/** Standing, as it was left: acknowledged or not. */
export function toStanding(
  standing: Standing,
  { raisedAt, notifiedPriority, acknowledged }: AlarmRaise,
): InState<"unacknowledged"> | InState<"acknowledged"> {
  const common = { ...standingOf(standing), raisedAt, notifiedPriority, absentSince: null };
  if (acknowledged === null) return { ...common, state: "unacknowledged" };
  return { ...common, state: "acknowledged", acknowledgedAt: acknowledged.at, acknowledgedBy: acknowledged.by };
}

/** Gone, as it was left, and waiting to be seen or reset. */
export function toLatched(
  standing: Standing,
  { raisedAt, notifiedPriority, acknowledged }: AlarmRaise,
  returnedAt: Instant,
  backSince: Instant | null,
): InState<"latchedUnacknowledged"> | InState<"latchedAcknowledged"> {
  const common = { ...standingOf(standing), raisedAt, notifiedPriority, returnedAt, presentSince: backSince };
  if (acknowledged === null) return { ...common, state: "latchedUnacknowledged" };
  return { ...common, state: "latchedAcknowledged", acknowledgedAt: acknowledged.at, acknowledgedBy: acknowledged.by };
}
