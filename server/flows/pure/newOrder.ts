import type { Instant } from "../../domain/instant.ts";
import type { Order, OrderKind } from "../../domain/orders/order.ts";

export interface OrderRequest {
  readonly id: string;
  readonly kind: OrderKind;
  readonly until: Instant | null;
  readonly by: string;
}

/** An order as it begins its life. */
export const newOrder = ({ id, kind, until, by }: OrderRequest, askedAt: Instant): Order => ({
  id,
  kind,
  until,
  requestedAt: askedAt,
  requestedBy: by,
  status: "requested",
  sentAt: null,
  answeredAt: null,
  problem: null,
});
