import type { SentOrder } from "../../contract/report.ts";
import { advanceFeeder } from "../../domain/advanceFeeder.ts";
import type { Effect } from "../../domain/effects.ts";
import type { Fact } from "../../domain/facts.ts";
import type { FeederState } from "../../domain/feeder.ts";
import { type Instant, isoOf } from "../../domain/instant.ts";
import type { Order } from "../../domain/orders/order.ts";
import { pendingOrders } from "../../domain/orders/orderTransitions.ts";
import type { FeederRow } from "../../ports.ts";

/** A feeder between its stored state and its next one, with the effects to carry out. */
export interface FeederUpdate {
  readonly id: string;
  readonly yard: string;
  readonly revision: number; // of the stored state
  readonly state: FeederState;
  readonly effects: readonly Effect[];
  readonly lastReportAt: Instant | null;
  readonly lastStepAt: Instant | null; // the moment of its last step
}

export const startUpdate = (
  row: Pick<FeederRow, "id" | "yard" | "revision" | "state" | "lastReportAt" | "lastStepAt">,
): FeederUpdate => ({
  id: row.id,
  yard: row.yard,
  revision: row.revision,
  state: row.state,
  effects: [],
  lastReportAt: row.lastReportAt,
  lastStepAt: row.lastStepAt,
});

/** One fact after the other; effects are collected in the order in which they arise. */
export function applyFact(feeder: FeederUpdate, fact: Fact, now: Instant): FeederUpdate {
  const { state, effects } = advanceFeeder(feeder.state, fact, now);
  return {
    ...feeder,
    state,
    effects: feeder.effects.length === 0 ? effects : [...feeder.effects, ...effects],
    lastReportAt: isSignOfLife(fact, state) ? now : feeder.lastReportAt,
    lastStepAt: now,
  };
}

/** An unreadable report is one too, of a feeder that is known to report. */
const isSignOfLife = ({ kind }: Fact, { reporting }: FeederState): boolean =>
  kind === "reported" || (kind === "reportRefused" && reporting.kind === "reporting");

/** The orders to be sent to the feeder now. */
export const ordersFor = (state: FeederState, now: Instant): readonly SentOrder[] =>
  pendingOrders(state.orders, now).map(sentOrder);

const sentOrder = ({ id, kind, until }: Order): SentOrder => ({
  id,
  kind,
  until: until === null ? null : isoOf(until),
});
