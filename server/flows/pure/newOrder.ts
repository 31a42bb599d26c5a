import type { Instant } from "../../domain/instant.ts";
import type { Order, OrderKind } from "../../domain/orders/order.ts";

export interface OrderRequest {
  readonly id: string;
  readonly kind: OrderKind;
  readonly until: Instant | null;
  readonly by: string;
}

/** An order that was just requested. */
export const newOrder = ({ id, kind, until, by }: OrderRequest, requestedAt: Instant): Order => ({
  id,
  kind,
  until,
  requestedAt,
  requestedBy: by,
  status: "requested",
  sentAt: null,
  answeredAt: null,
  problem: null,
});
