import type { FaultKind } from "./faults.ts";
import type { Instant } from "./instant.ts";
import type { NotifiedPriority } from "./notification/escalation.ts";
import type { Order } from "./orders/order.ts";
import type { Report } from "./report.ts";
import type { RefusalReason } from "./reportFaults.ts";
import type { FeederSettings } from "./settings.ts";
import type { Grams } from "./units.ts";

/** Whatever can happen to a feeder, as `advanceFeeder` is told of it. */
export type Fact =
  | { readonly kind: "reported"; readonly report: Report }
  | { readonly kind: "reportRefused"; readonly problem: RefusalReason } // the feeder spoke, and could not be understood
  | { readonly kind: "minutePassed" }
  | { readonly kind: "settingsChanged"; readonly settings: FeederSettings }
  | { readonly kind: "refillReported"; readonly refill: ReportedRefill }
  | { readonly kind: "cleaned"; readonly at: Instant; readonly by: string } // somebody cleaned it, perhaps a while ago
  | { readonly kind: "orderRequested"; readonly order: Order }
  | { readonly kind: "ordersSent" } // the pending order left for the feeder, on its answer or over its socket
  /** `raisedAt`: which raise was answered, where the answer says; null: whichever stands. */
  | {
      readonly kind: "alarmAcknowledged";
      readonly fault: FaultKind;
      readonly by: string;
      readonly raisedAt: Instant | null;
      /** How gravely it had called whoever answers; left out: as it does now. */
      readonly notifiedPriority?: NotifiedPriority;
    }
  | { readonly kind: "alarmShelved"; readonly fault: FaultKind; readonly until: Instant; readonly by: string }
  | { readonly kind: "alarmReset"; readonly fault: FaultKind; readonly by: string } // somebody looked at the thing itself
  | { readonly kind: "alarmTakenOutOfService"; readonly fault: FaultKind; readonly reason: string; readonly by: string }
  | { readonly kind: "alarmReturnedToService"; readonly fault: FaultKind; readonly by: string };

/** What the keeper says about a refill: so many grams put in, or filled to the brim, or found at this level. */
export interface ReportedRefill {
  readonly at: Instant;
  readonly what:
    | { readonly kind: "added"; readonly grams: Grams }
    | { readonly kind: "filled" }
    | { readonly kind: "level"; readonly grams: Grams };
}
