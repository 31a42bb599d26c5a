import type { SentOrder } from "../../contract/report.ts";
import { advanceFeeder } from "../../domain/advanceFeeder.ts";
import type { Effect } from "../../domain/effects.ts";
import type { Fact } from "../../domain/facts.ts";
import type { FeederState } from "../../domain/feeder.ts";
import { type Instant, isoOf } from "../../domain/instant.ts";
import { pendingOrders } from "../../domain/orders/lifeCycle.ts";
import type { Order } from "../../domain/orders/order.ts";
import type { FeederRow } from "../../ports.ts";

/** A feeder on its way from the state that is stored to the next one, with all that must be done about it. */
export interface Advanced {
  readonly id: string;
  readonly yard: string;
  readonly state: FeederState;
  readonly effects: readonly Effect[];
  readonly lastHeardAt: Instant | null;
  readonly steppedAt: Instant | null; // the moment of its last step
}

export const begin = (row: Pick<FeederRow, "id" | "yard" | "state" | "lastHeardAt" | "steppedAt">): Advanced => ({
  id: row.id,
  yard: row.yard,
  state: row.state,
  effects: [],
  lastHeardAt: row.lastHeardAt,
  steppedAt: row.steppedAt,
});

/** One fact after the other; effects gather in the order in which they came about. */
export function advanced(feeder: Advanced, fact: Fact, now: Instant): Advanced {
  const { state, effects } = advanceFeeder(feeder.state, fact, now);
  return {
    ...feeder,
    state,
    effects: feeder.effects.length === 0 ? effects : [...feeder.effects, ...effects],
    lastHeardAt: isSignOfLife(fact, state) ? now : feeder.lastHeardAt,
    steppedAt: now,
  };
}

/** What can't be read is one too, of a feeder that is known to be connected. */
const isSignOfLife = ({ kind }: Fact, { link }: FeederState): boolean =>
  kind === "reported" || (kind === "reportRefused" && link.kind === "heard");

/** The orders that the feeder must be told now. */
export const ordersFor = (state: FeederState, now: Instant): readonly SentOrder[] =>
  pendingOrders(state.orders, now).map(sentForm);

const sentForm = ({ id, kind, until }: Order): SentOrder => ({
  id,
  kind,
  until: until === null ? null : isoOf(until),
});
