import fc from "fast-check";
import { describe, expect, it } from "vitest";
import type { Instant } from "../../../server/domain/instant.ts";
import type { OrdersState } from "../../../server/domain/orders/order.ts";
import { ordersFor } from "../../../server/flows/pure/feederUpdate.ts";
import { runs } from "../../support/runs.ts";
import { brokenChecks, type CheckName, checkNames } from "./pauseChecks.ts";
import {
  anyActions,
  anyBehaviour,
  type FeederBehaviour,
  type OrderAction,
  type OrderFunctions,
  realFunctions,
  runOrders,
  type SentReport,
  type ShownOrder,
} from "./randomOrders.ts";

describe("any history of a feeder and its keepers", { timeout: 60_000 }, () => {
  it("is never shown better than it is known, and nothing waits or changes for ever", () => {
    fc.assert(
      fc.property(anyBehaviour, anyActions, (nature, moves) => {
        expect([...brokenChecks(runOrders(nature, moves)).values()]).toEqual([]);
      }),
      { numRuns: runs(100) },
    );
  });
});

// --- what random lives have found ----------------------------------------------------------------------------------------

const honest: FeederBehaviour = {
  obeys: "does",
  reading: "truth",
  forgets: false,
  reusesBoot: false,
  keepsSpool: false,
};
const reports: OrderAction = { kind: "report", line: "works" };
const restarts: OrderAction = { kind: "restart" };
const feeds: OrderAction = { kind: "portion", cause: "timer", motorMs: null };
const asks = (order: "pause" | "resume", endsIn: number | null = null): OrderAction => ({
  kind: "ask",
  by: "Ada",
  order,
  endsIn,
});

interface Found {
  readonly nature: Partial<FeederBehaviour>;
  readonly moves: readonly (readonly [number, OrderAction])[];
}
const found: Readonly<Record<string, Found>> = {
  "reports food that was given after the pause, though the same report states ten minutes later that it is paused": {
    nature: {},
    moves: [
      [2, asks("pause")],
      [2, reports],
      [6, { ...feeds, cause: "keeper" }],
      [700, reports],
    ] as const,
  },
  "takes a resume for done that a newer pause has overtaken, where the feeder never states whether it is paused": {
    nature: { obeys: "onlySaysDone", reading: "none" },
    moves: [
      ...([
        [70, asks("pause")],
        [2, reports],
        [2, reports],
      ] as const),
      ...([
        [2, asks("resume")],
        [2, reports],
        [2, asks("pause")],
        [70, reports],
      ] as const),
    ],
  },
  "knows that a pause has ended by itself, though another was requested since that has not arrived": {
    nature: {},
    moves: [
      [2, asks("pause", 73)],
      [70, reports],
      [2, reports],
      [2, asks("pause")],
    ] as const,
  },
  "confirms by a done that an earlier start left behind, where the feeder states already that it is still paused": {
    nature: { keepsSpool: true },
    moves: [
      [2, asks("pause")],
      [2, reports],
      [2, restarts],
      [2, reports],
    ] as const,
  },
  "knows the end of a pause that was done before the newer one arrived": {
    nature: {},
    moves: [
      [70, asks("pause", 30)],
      [2, reports],
      [2, asks("pause")],
      [2, { ...reports, line: "losesAnswer" }],
    ] as const,
  },
  "knows the end of a pause that an earlier start left behind": {
    nature: { obeys: "onlySaysDone", reading: "paused", keepsSpool: true },
    moves: [
      [2, asks("pause", 30)],
      [2, reports],
      [2, restarts],
      [2, reports],
      [2, asks("pause")],
    ] as const,
  },
  "believes a new start at once, though food that the start before gave is reported only after its own statement": {
    nature: { reading: "paused", keepsSpool: true },
    moves: [
      ...([
        [2, asks("pause")],
        [2, reports],
        [2, { kind: "obeys", from: "onlySaysDone" }],
        [2, restarts],
      ] as const),
      ...([
        [2, reports],
        [12, { ...feeds, cause: "keeper" }],
        [2, restarts],
      ] as const),
    ],
  },
  "doesn't take the done of an earlier start for newer than the word of this one, since its report was held up": {
    nature: { reading: "opposite" },
    moves: [
      ...([
        [2, asks("resume")],
        [70, reports],
        [2, { ...reports, line: "holdsReport" }],
        [2, restarts],
      ] as const),
      ...([
        [2, reports],
        [2, { kind: "lateReport", which: 0 }],
      ] as const),
    ],
  },
};

describe("a history that was shown better than it was known", () => {
  it.each(Object.entries(found))("%s", (_what, { nature, moves }) => {
    expect([...brokenChecks(runOrders({ ...honest, ...nature }, moves)).values()]).toEqual([]);
  });
});

// --- planted bugs --------------------------------------------------------------------------------------------------------

interface Step {
  readonly before: OrdersState;
  readonly sent: SentReport;
  readonly now: Instant;
}

/** The server's step as it should be, and then something happens to its orders that shouldn't. */
const afterReport =
  (bend: (orders: OrdersState, step: Step) => OrdersState): OrderFunctions["report"] =>
  (before, sent, fresh, now) => {
    const taken = realFunctions.report(before, sent, fresh, now);
    const orders = bend(taken.feeder.state.orders, { before: before.state.orders, sent, now });
    if (orders === taken.feeder.state.orders) return taken;
    const feeder = { ...taken.feeder, state: { ...taken.feeder.state, orders } };
    return { ...taken, feeder, orders: ordersFor(feeder.state, now) };
  };
const withoutUndone = (
  { revertedPause: undonePause, ...orders }: OrdersState,
  newest: OrdersState["newest"],
): OrdersState => ({
  ...orders,
  newest,
});
const confirmedNow = (orders: OrdersState, now: Instant): OrdersState =>
  withoutUndone(orders, orders.newest && { ...orders.newest, status: "confirmed", answeredAt: now });
const holdsDone = ({ spool }: SentReport, { newest }: OrdersState): boolean =>
  spool.some(({ statement }) => statement.what === "done" && statement.order === newest?.id);
const showing =
  (bend: (shown: ShownOrder, orders: OrdersState) => ShownOrder): OrderFunctions["show"] =>
  (feeder, now) =>
    bend(realFunctions.show(feeder, now), feeder.state.orders);

const bugs: Readonly<Record<string, { readonly caughtBy: CheckName; readonly plant: Partial<OrderFunctions> }>> = {
  "a new start doesn't undo a confirmation": {
    caughtBy: "claimsPaused",
    plant: {
      report: afterReport((orders, { before }) =>
        orders.revertedPause?.by === "restart" && before.revertedPause === undefined
          ? withoutUndone(orders, before.newest)
          : orders,
      ),
    },
  },
  "a portion doesn't undo a confirmation": {
    caughtBy: "claimsPaused",
    plant: {
      report: afterReport((orders, { before, now }) =>
        orders.revertedPause?.by === "portion" && before.revertedPause === undefined
          ? confirmedNow(orders, now)
          : orders,
      ),
    },
  },
  "food isn't noticed": {
    caughtBy: "foodTold",
    plant: {
      report: (before, sent, fresh, now) => {
        const isFood = ({ kind }: (typeof fresh)[number]) => kind === "portion";
        return realFunctions.report(
          before,
          sent,
          fresh.filter((event) => !isFood(event)),
          now,
        );
      },
    },
  },
  "an old done confirms anew": {
    caughtBy: "claimsPaused",
    plant: {
      report: afterReport((orders, { sent, now }) =>
        orders.revertedPause !== undefined && holdsDone(sent, orders) ? confirmedNow(orders, now) : orders,
      ),
    },
  },
  "a bare done is believed each time": {
    caughtBy: "flaps",
    plant: {
      report: afterReport((orders, { sent, now }) =>
        orders.revertedPause?.by === "statement" && holdsDone(sent, orders) ? confirmedNow(orders, now) : orders,
      ),
    },
  },
  "the waiting begins anew each time the order is sent": {
    caughtBy: "waitsForEver",
    plant: {
      report: afterReport((orders, { now }) => {
        const { newest } = orders;
        if (newest?.status !== "sent" && newest?.status !== "overdue") return orders;
        return withoutUndone(orders, { ...newest, status: "sent", requestedAt: now });
      }),
    },
  },
  "what is overdue is shown as sent": {
    caughtBy: "waitsForEver",
    plant: {
      show: showing(({ order, ...shown }) => ({
        ...shown,
        order: order && (order.status === "overdue" ? { ...order, status: "sent" } : order),
      })),
    },
  },
  "a late report undoes a confirmation": {
    caughtBy: "handedOut",
    plant: {
      report: afterReport((orders, { sent: { boot, sentUptime } }) => {
        const { newest, lastStart } = orders;
        const isLate =
          lastStart !== undefined && sentUptime !== null && (boot !== lastStart.boot || sentUptime < lastStart.uptime);
        return isLate && newest?.status === "confirmed"
          ? { ...orders, newest: { ...newest, status: "requested" } }
          : orders;
      }),
    },
  },
  "an undone order isn't handed out again": {
    caughtBy: "handedOut",
    plant: {
      report: (...step) => {
        const taken = realFunctions.report(...step);
        return taken.feeder.state.orders.revertedPause === undefined ? taken : { ...taken, orders: [] };
      },
    },
  },
  "an order is handed out past its end": {
    caughtBy: "handedOut",
    plant: {
      report: (...step) => {
        const taken = realFunctions.report(...step);
        const { newest } = taken.feeder.state.orders;
        const isOver = newest?.kind === "pause" && newest.until !== null && step[3] >= newest.until;
        return isOver ? { ...taken, orders: [{ id: newest.id, kind: newest.kind, until: null }] } : taken;
      },
    },
  },
  "what was undone is never confirmed again": {
    caughtBy: "neverSettles",
    plant: {
      report: afterReport((orders, { before }) =>
        before.revertedPause !== undefined && orders.revertedPause === undefined ? { ...orders, ...before } : orders,
      ),
    },
  },
  "its word counts for more than its deeds": {
    caughtBy: "claimsPaused",
    plant: {
      show: showing((shown, { lastStatement: feederSays }) =>
        feederSays?.paused ? { ...shown, standing: "paused" } : shown,
      ),
    },
  },
  "a resume stays confirmed whatever the feeder states": {
    caughtBy: "resumeClaim",
    plant: {
      show: showing(({ order, ...shown }, { newest }) => ({
        ...shown,
        order: order?.kind === "resume" && newest !== null ? { ...order, status: newest.status } : order,
      })),
    },
  },
};

describe("a server with a planted bug", () => {
  const lives = fc.sample(fc.tuple(anyBehaviour, anyActions), { numRuns: 70, seed: 8 });

  it.each(Object.entries(bugs))("is caught: %s", (_what, { caughtBy, plant }) => {
    const server = { ...realFunctions, ...plant };
    expect(lives.some(([nature, moves]) => brokenChecks(runOrders(nature, moves, server)).has(caughtBy))).toBe(true);
  });

  it("isn't ours: the same lives break nothing without one", () => {
    for (const [nature, moves] of lives) expect([...brokenChecks(runOrders(nature, moves)).keys()]).toEqual([]);
  });

  it("has been planted for each check", () => {
    expect(new Set(Object.values(bugs).map(({ caughtBy }) => caughtBy))).toEqual(new Set(checkNames));
  });
});
