import type { SentOrder } from "../../contract/report.ts";
import { advanceFeeder } from "../../domain/advanceFeeder.ts";
import { pendingBenchOrder } from "../../domain/benchRun/advanceBench.ts";
import { benchRest } from "../../domain/benchRun/benchRun.ts";
import type { Effect } from "../../domain/effects.ts";
import type { Fact } from "../../domain/facts.ts";
import type { FeederState } from "../../domain/feeder.ts";
import type { QuarterRollup } from "../../domain/history/quarterChanges.ts";
import { closedQuarters, type Rollups, updateRollups } from "../../domain/history/rollups.ts";
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
  readonly rollups: Rollups;
  readonly effects: readonly Effect[];
  /** Handed out once, to be merged into the stored roll-ups. */
  readonly closedQuarters: readonly QuarterRollup[];
  readonly lastReportAt: Instant | null;
  readonly lastStepAt: Instant | null; // the moment of its last step
}

export const startUpdate = (
  row: Pick<FeederRow, "id" | "yard" | "revision" | "state" | "rollups" | "lastReportAt" | "lastStepAt">,
): FeederUpdate => ({
  id: row.id,
  yard: row.yard,
  revision: row.revision,
  state: row.state,
  rollups: row.rollups,
  effects: [],
  closedQuarters: [],
  lastReportAt: row.lastReportAt,
  lastStepAt: row.lastStepAt,
});

/** One fact after the other; effects and closed quarters are collected in the order in which they arise. */
export function applyFact(feeder: FeederUpdate, fact: Fact, now: Instant): FeederUpdate {
  const { state, effects } = advanceFeeder(feeder.state, fact, now);
  const updated = updateRollups(feeder.rollups, { before: feeder.state, fact, after: state, effects, now });
  const { closed, rollups } = closedQuarters(updated, now);
  return {
    ...feeder,
    state,
    rollups,
    effects: joined(feeder.effects, effects),
    closedQuarters: joined(feeder.closedQuarters, closed),
    lastReportAt: isSignOfLife(fact, state) ? now : feeder.lastReportAt,
    lastStepAt: now,
  };
}

const joined = <T>(a: readonly T[], b: readonly T[]): readonly T[] => (a.length === 0 ? b : [...a, ...b]);

/** An unreadable report is one too, of a feeder that is known to report. */
const isSignOfLife = ({ kind }: Fact, { reporting }: FeederState): boolean =>
  kind === "reported" || (kind === "reportRefused" && reporting.kind === "reporting");

/** The orders to be sent to the feeder now. A pause or resume goes before a bench run. */
export function ordersFor(state: FeederState, now: Instant): readonly SentOrder[] {
  const orders = pendingOrders(state.orders, now).map(sentOrder);
  const bench = orders.length > 0 ? null : pendingBenchOrder(state.bench, now);
  if (bench === null) return orders;
  return [{ ...bench, kind: "bench", until: null, restSeconds: benchRest / 1_000 }];
}

const sentOrder = ({ id, kind, until }: Order): SentOrder => ({
  id,
  kind,
  until: until === null ? null : isoOf(until),
});
