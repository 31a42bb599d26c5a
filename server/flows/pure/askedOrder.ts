import type { Instant } from "../../domain/instant.ts";
import type { Order, OrderKind } from "../../domain/orders/order.ts";

export interface AskedOrder {
  readonly id: string;
  readonly kind: OrderKind;
  readonly until: Instant | null;
  readonly by: string;
}

/** An order as it begins its life. */
export const askedOrder = ({ id, kind, until, by }: AskedOrder, askedAt: Instant): Order => ({
  id,
  kind,
  until,
  askedAt,
  askedBy: by,
  phase: "asked",
  sentAt: null,
  answeredAt: null,
  problem: null,
});
