import type { Instant } from "../instant.ts";

/** As much of a deposit or a portion as its pay is told by. `of` and `paysFor` are the deposit's boot and number, such as "b-7 412". */
export type PaymentEvent =
  | {
      readonly kind: "deposit";
      readonly of: string;
      readonly at: Instant;
      /** False where the detector called it no metal, or the feeder was paused: nobody was promised anything. */
      readonly expectsPortion: boolean;
    }
  | {
      readonly kind: "portion";
      readonly at: Instant;
      readonly paysFor: string | null; // null where it doesn't say
      readonly forDeposit: boolean; // given for a deposit, as it says
      readonly fell: boolean; // not seen to fail: the motor ran to its end, and no chute sensor counted nothing
    };
