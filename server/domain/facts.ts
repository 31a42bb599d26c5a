import type { BenchAct } from "./benchRun/advanceBench.ts";
import type { FaultKind } from "./faults.ts";
import type { Instant } from "./instant.ts";
import type { NotifiedPriority } from "./notification/escalation.ts";
import type { Order } from "./orders/order.ts";
import type { Report } from "./report.ts";
import type { RefusalReason } from "./reportFaults.ts";
import type { FeederSettings } from "./settings.ts";
import type { Grams } from "./units.ts";

/** Whatever can happen to a feeder: the input of `advanceFeeder`. */
export type Fact =
  | { readonly kind: "reported"; readonly report: Report }
  | { readonly kind: "reportRefused"; readonly problem: RefusalReason } // the feeder sent a report that could not be read
  | { readonly kind: "minutePassed" }
  | { readonly kind: "settingsChanged"; readonly settings: FeederSettings }
  | { readonly kind: "refillReported"; readonly refill: ReportedRefill }
  | { readonly kind: "cleaned"; readonly at: Instant; readonly by: string } // somebody cleaned it, perhaps a while ago
  | { readonly kind: "orderRequested"; readonly order: Order }
  | { readonly kind: "benchAct"; readonly act: BenchAct; readonly by: string } // a keeper starts, continues or stops a bench run
  | { readonly kind: "ordersSent" } // the pending order left for the feeder, on its answer or over its socket
  /** `raisedAt`: the raise that was acknowledged; null: whichever is active. */
  | {
      readonly kind: "alarmAcknowledged";
      readonly fault: FaultKind;
      readonly by: string;
      readonly raisedAt: Instant | null;
      /** The priority that the person was notified of; left out: the present one. */
      readonly notifiedPriority?: NotifiedPriority;
    }
  | { readonly kind: "alarmShelved"; readonly fault: FaultKind; readonly until: Instant; readonly by: string }
  | { readonly kind: "alarmReset"; readonly fault: FaultKind; readonly by: string } // somebody checked the feeder itself
  | { readonly kind: "alarmTakenOutOfService"; readonly fault: FaultKind; readonly reason: string; readonly by: string }
  | { readonly kind: "alarmReturnedToService"; readonly fault: FaultKind; readonly by: string };

/** A refill as a keeper enters it: grams added, filled completely, or the level found. */
export interface ReportedRefill {
  readonly at: Instant;
  readonly what:
    | { readonly kind: "added"; readonly grams: Grams }
    | { readonly kind: "filled" }
    | { readonly kind: "level"; readonly grams: Grams };
}
