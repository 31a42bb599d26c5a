import type { Instant } from "../instant.ts";

/** A deposit or a portion, as far as the payment needs it. `of` and `paysFor` are the deposit's boot and number, such as "b-7 412". */
export type PaymentEvent =
  | {
      readonly kind: "deposit";
      readonly of: string;
      readonly at: Instant;
      /** False where the detector found no metal, the plan pays only some, or the feeder was paused: no portion follows then. */
      readonly expectsPortion: boolean;
      readonly isPromised: boolean; // by the feeder itself: its portion may wait in the feeder's own queue
    }
  | {
      readonly kind: "portion";
      readonly at: Instant;
      readonly paysFor: string | null; // null where it isn't reported
      readonly forDeposit: boolean; // reported as given for a deposit
      readonly isOrdered: boolean; // by a keeper; its own program decided on all others
      readonly fell: boolean; // no sign of failure: the motor ran to its end, and the chute sensor, if any, counted food
    };
