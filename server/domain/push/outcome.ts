import type { Instant } from "../instant.ts";

/** What a push service answered. Every answer is ordinary; none is thrown. */
export type PushOutcome =
  | { readonly kind: "accepted" }
  | { readonly kind: "subscriptionGone"; readonly text: string }
  | {
      readonly kind: "tryLater";
      readonly notBefore: Instant | null;
      readonly text: string;
      /** The whole message was sent before the connection failed or the time to answer ended. */
      readonly mayHaveArrived?: true;
      /** No answer: the service could not be reached, or did not answer. */
      readonly noAnswer?: true;
    }
  | { readonly kind: "refused"; readonly text: string };

/** What a mail server answered. It reports no address as gone for good: what it refuses today it may accept tomorrow. */
export type EmailOutcome = Exclude<PushOutcome, { readonly kind: "subscriptionGone" }>;

/** How one attempt at a delivery ended, stored in the outbox. */
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
