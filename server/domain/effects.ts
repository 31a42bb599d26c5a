import type { AlarmChange } from "./alarms/alarmStates.ts";
import type { Instant } from "./instant.ts";
import type { AlarmEvent } from "./notification/escalation.ts";
import type { Order } from "./orders/order.ts";
import type { Grams } from "./units.ts";

/** What the shell must do once the step is committed, or store along with it. */
export type Effect =
  | { readonly kind: "alarmChanged"; readonly change: AlarmChange }
  | { readonly kind: "alarmEvent"; readonly event: AlarmEvent }
  | { readonly kind: "orderChanged"; readonly order: Order }
  | { readonly kind: "refillDetected"; readonly added: Grams; readonly at: Instant };
