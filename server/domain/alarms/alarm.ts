import type { Evidence, Priority } from "../faults.ts";
import type { Instant } from "../instant.ts";
import type { Probability } from "../units.ts";

/** What was known about the fault when it was last seen. */
export interface AlarmFinding {
  readonly reason: string;
  readonly evidence: readonly Evidence[];
  readonly sure: Probability | null;
}

interface Standing {
  readonly priority: Priority;
  readonly since: Instant; // when the fault was first seen
  readonly finding: AlarmFinding;
}

/** An alarm that is not in the normal state. States and words of ANSI/ISA-18.2 and IEC 62682. */
export type Alarm =
  | (Standing & { readonly phase: "suspected" })
  | (Standing & { readonly phase: "unacknowledged"; readonly raisedAt: Instant; readonly awaySince: Instant | null })
  | (Standing & {
      readonly phase: "acknowledged";
      readonly raisedAt: Instant;
      readonly acknowledgedAt: Instant;
      readonly acknowledgedBy: string;
      readonly awaySince: Instant | null; // null while the fault is there
    })
  | (Standing & {
      readonly phase: "returnedUnacknowledged";
      readonly raisedAt: Instant;
      readonly returnedAt: Instant;
      readonly backSince: Instant | null; // the fault is there again and its on-delay runs; null while it stays away
    })
  | (Standing & {
      readonly phase: "shelved";
      readonly shelvedAt: Instant;
      readonly shelvedBy: string;
      readonly shelvedUntil: Instant;
      readonly present: boolean;
    })
  | (Standing & {
      readonly phase: "suppressedByDesign";
      readonly why: string;
      /** What it was before, so that the end of a suppression tells nobody a second time. Null: it was never raised. */
      readonly raised: Raised | null;
    });

/** An alarm that somebody was told of, and who has acknowledged it. */
export interface Raised {
  readonly raisedAt: Instant;
  readonly acknowledged: { readonly at: Instant; readonly by: string } | null;
}
