import type { FeederState } from "../../domain/feeder.ts";
import type { Instant } from "../../domain/instant.ts";
import type { RetainedContent } from "../../ports.ts";
import { ordersFor } from "./feederUpdate.ts";
import { planToSend } from "./sentPlan.ts";

/** The same that the next answer to this feeder would bring. */
export const retainedContent = (state: FeederState, now: Instant): RetainedContent => ({
  orders: ordersFor(state, now),
  plan: planToSend(state),
});
