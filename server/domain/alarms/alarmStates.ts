import type { FaultKind, Priority } from "../faults.ts";
import type { Instant } from "../instant.ts";

/**
 * One raw transition of an alarm: always logged, also when nobody is told. Where `from` and `to` are the same, the fault came
 * or went while the alarm stayed what it was (shelved, hidden, within a delay), or the alarm grew graver as it stood.
 */
export interface AlarmChange {
  readonly fault: FaultKind;
  readonly priority: Priority;
  readonly from: AlarmState;
  readonly to: AlarmState;
  readonly at: Instant;
  readonly reason: string;
  /** Whether the fault itself is there after this change, as far as can be seen. */
  readonly present: boolean;
}

/** States of ANSI/ISA-18.2 and IEC 62682; `suspected` is "normal" while the on-delay runs. */
export type AlarmState =
  | "normal"
  | "suspected"
  | "unacknowledged"
  | "acknowledged"
  | "returnedUnacknowledged"
  | "latchedUnacknowledged"
  | "latchedAcknowledged"
  | "shelved"
  | "suppressedByDesign"
  | "outOfService";
