import type { Instant } from "../instant.ts";

/** What a push service answered. Every answer is ordinary; none is thrown. */
export type PushOutcome =
  | { readonly kind: "accepted" }
  | { readonly kind: "subscriptionGone"; readonly text: string }
  | {
      readonly kind: "tryLater";
      readonly notBefore: Instant | null;
      readonly text: string;
      /** The whole message had left when the line broke or nobody answered in time. */
      readonly mayHaveArrived?: true;
      /** Nothing came back: the service could not be reached, or kept silent. */
      readonly noAnswer?: true;
    }
  | { readonly kind: "refused"; readonly text: string };

/** What a mail server answered. It knows no address that is gone for good: what it refuses today it may take tomorrow. */
export type EmailOutcome = Exclude<PushOutcome, { readonly kind: "subscriptionGone" }>;

/** How one attempt at a delivery ended, for the outbox to remember. */
export type Settlement =
  | { readonly kind: "delivered"; readonly at: Instant }
  | {
      readonly kind: "retry";
      readonly notBefore: Instant;
      readonly problem: string;
      readonly mayHaveArrived?: true;
    }
  | { readonly kind: "givenUp"; readonly at: Instant; readonly problem: string; readonly mayHaveArrived?: true }
  | { readonly kind: "phoneGone"; readonly at: Instant; readonly problem: string };
