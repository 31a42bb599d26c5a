import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { after, type Instant, instantOf, seconds } from "../../../server/domain/instant.ts";
import { type OrdersStep, updateOrdersByPaused, updateOrdersByStart } from "../../../server/domain/orders/evidence.ts";
import { initialOrders, type Order, type OrderKind, type OrdersState } from "../../../server/domain/orders/order.ts";
import { pauseFaults, staysPausedFault } from "../../../server/domain/orders/orderFaults.ts";
import {
  answerOrder,
  markOrdersOverdue,
  markOrdersSent,
  overdueAt,
  pendingOrders,
  requestOrder,
} from "../../../server/domain/orders/orderTransitions.ts";
import { isPaused } from "../../../server/domain/orders/pauseStatus.ts";
import { rowanSettings } from "../rowan.ts";

const settings = rowanSettings;
const start = instantOf("2026-12-01T06:00:00Z");
const at = (second: number): Instant => after(start, seconds(second));
const order = (id: string, kind: OrderKind, second: number, until: Instant | null = null): Order => ({
  id,
  kind,
  until,
  requestedAt: at(second),
  requestedBy: "Ada",
  status: "requested",
  sentAt: null,
  answeredAt: null,
  problem: null,
});
const done = (id: string) => ({ order: id, outcome: "done", problem: null }) as const;
const run = (...steps: ((orders: OrdersState) => OrdersStep)[]): OrdersState =>
  steps.reduce((orders, step) => step(orders).orders, initialOrders());

const pauseAsked = (o: OrdersState) => requestOrder(o, order("p1", "pause", 0));
const sent = (second: number) => (o: OrdersState) => markOrdersSent(o, at(second));
const answered = (id: string, second: number) => (o: OrdersState) => answerOrder(o, done(id), at(second));
const pauseFault = (o: OrdersState, of: typeof settings, now: Instant) => pauseFaults(o, of, now)[0] ?? null;
const starts = (boot: string, second: number, paused: boolean | null) => (o: OrdersState) =>
  updateOrdersByStart(o, { boot, uptime: seconds(5), at: at(second), paused }, at(second));
const says = (paused: boolean, second: number) => (o: OrdersState) => updateOrdersByPaused(o, paused, at(second));

describe("an order", () => {
  it("goes from requested to sent to confirmed, by the feeder's own answer only", () => {
    expect(run(pauseAsked).newest?.status).toBe("requested");
    expect(run(pauseAsked, sent(5)).newest).toMatchObject({ status: "sent", sentAt: at(5) });
    expect(run(pauseAsked, sent(5), answered("p1", 9)).newest).toMatchObject({
      status: "confirmed",
      answeredAt: at(9),
    });
    expect(run(pauseAsked, sent(5), answered("p1", 9)).lastStatement).toEqual({ paused: true, at: at(9) });
  });

  it("is the same order however often it is requested, sent and answered", () => {
    const once = run(pauseAsked, sent(5), answered("p1", 9));
    const often = run(pauseAsked, pauseAsked, sent(5), sent(6), pauseAsked, answered("p1", 9), answered("p1", 9));
    expect(often).toEqual(once);
  });

  it("supersedes an older one that was not answered, and stores both", () => {
    const step = requestOrder(run(pauseAsked, sent(5)), order("r1", "resume", 10));
    expect(step.changed.map(({ id, status }) => [id, status])).toEqual([
      ["p1", "superseded"],
      ["r1", "requested"],
    ]);
  });

  it("has no effect when an old one is requested again", () => {
    const orders = run(pauseAsked, (o) => requestOrder(o, order("r1", "resume", 10)));
    expect(requestOrder(orders, order("p1", "pause", 20))).toEqual({ orders, changed: [] });
  });

  it("is not moved by an answer to an older or unknown one", () => {
    const orders = run(pauseAsked, (o) => requestOrder(o, order("r1", "resume", 10)));
    // It did pause, which is how it stands; what becomes of the resume it has yet to say.
    const stands = { ...orders, lastStatement: { paused: true, at: at(12) } };
    expect(answerOrder(orders, done("p1"), at(12))).toEqual({ orders: stands, changed: [] });
    expect(answerOrder(orders, done("p1"), at(12), at(12), "earlier")).toEqual({ orders, changed: [] });
    expect(answerOrder(orders, done("unknown"), at(12))).toEqual({ orders, changed: [] });
  });

  it("keeps the feeder's reason where it refused", () => {
    const refused = answerOrder(
      run(pauseAsked),
      { order: "p1", outcome: "refused", problem: "lid open" },
      at(9),
    ).orders;
    expect(refused.newest).toMatchObject({ status: "refused", problem: "lid open" });
    expect(pendingOrders(refused, at(10))).toEqual([]);
    expect(pauseFault(refused, settings, at(10))?.reason).toContain("lid open");
  });

  it("is overdue after two reports' time and half a minute, a minute at least, and still carried", () => {
    const slow = { ...settings, reportEvery: seconds(300) };
    expect(overdueAt(run(pauseAsked), { reportEvery: seconds(5) })).toBe(at(60));
    expect(overdueAt(run(pauseAsked), slow)).toBe(at(630));
    const orders = run(pauseAsked, sent(5), (o) => markOrdersOverdue(o, slow, at(629)));
    expect(orders.newest?.status).toBe("sent");
    const late = markOrdersOverdue(orders, slow, at(630)).orders;
    expect(late.newest?.status).toBe("overdue");
    expect(pendingOrders(late, at(631))).toHaveLength(1);
    expect(answerOrder(late, done("p1"), at(700)).orders.newest?.status).toBe("confirmed");
  });
});

describe("a pause", () => {
  it("is sent again where the feeder restarted and lost it, with a new time to answer", () => {
    const before = [starts("b-1", 1, false), pauseAsked, sent(5), answered("p1", 9), says(true, 60)];
    const forgot = run(...before, starts("b-2", 3_600, false), says(false, 3_600));
    expect(pendingOrders(forgot, at(3_601)).map(({ id }) => id)).toEqual(["p1"]);
    const again = markOrdersSent(forgot, at(3_601)).orders;
    expect(again.newest).toMatchObject({ status: "sent", sentAt: at(3_601) });
    expect(pauseFault(again, settings, at(3_602))).toBeNull();
    expect(pauseFault(again, settings, at(4_201))?.kind).toBe("pauseOverdue");
    expect(updateOrdersByPaused(again, true, at(3_660)).orders.newest?.status).toBe("confirmed"); // its own word is enough
  });

  it("is not carried past its end, and its end is no fault", () => {
    const short = run((o) => requestOrder(o, order("p1", "pause", 0, at(600))));
    expect(pendingOrders(short, at(599))).toHaveLength(1);
    expect(pauseFault(short, settings, at(599))?.kind).toBe("pauseOverdue");
    expect(pendingOrders(short, at(600))).toEqual([]);
    expect(pauseFault(short, settings, at(600))).toBeNull();
  });

  it("is no fault while the feeder states that it is paused, answer or no answer", () => {
    expect(pauseFault(run(pauseAsked, sent(5)), settings, at(900))?.kind).toBe("pauseOverdue");
    expect(pauseFault(run(pauseAsked, sent(5), says(true, 30)), settings, at(900))).toBeNull();
    expect(pauseFault(run(says(true, -30), pauseAsked, sent(5)), settings, at(900))?.kind).toBe("pauseOverdue");
  });

  it("counts only by the feeder's own statement", () => {
    expect(isPaused(run(pauseAsked, sent(5)), at(10))).toBe(false);
    expect(isPaused(run(pauseAsked, says(true, 9)), at(10))).toBe(true);
    expect(isPaused(run(says(true, 9)), at(10))).toBe(true); // switched off at the feeder
  });

  it("has ended when its end has passed or a resume was requested, until the feeder states otherwise", () => {
    const until = run((o) => requestOrder(o, order("p1", "pause", 0, at(600))), answered("p1", 9));
    expect(isPaused(until, at(599))).toBe(true);
    expect(isPaused(until, at(600))).toBe(false);
    expect(isPaused(updateOrdersByPaused(until, true, at(660)).orders, at(661))).toBe(true);
    const resumed = run(pauseAsked, answered("p1", 9), (o) => requestOrder(o, order("r1", "resume", 20)));
    expect(isPaused(resumed, at(21))).toBe(false);
  });
});

describe("a resume", () => {
  it("is a fault when late, since the birds wait, and is never sent again against a pause at the feeder", () => {
    const asked = run((o) => requestOrder(o, order("r1", "resume", 0)));
    expect(pauseFault(asked, settings, at(9_000))).toBeNull();
    const due = overdueAt(asked, settings) as Instant;
    expect(staysPausedFault(asked, settings, after(due, -1 as never))).toBeNull();
    expect(staysPausedFault(asked, settings, due)?.kind).toBe("staysPaused");
    expect(staysPausedFault(says(false, 700)(asked).orders, settings, at(701))).toBeNull(); // it feeds, whatever it answered
    const byHand = run((o) => requestOrder(o, order("r1", "resume", 0)), answered("r1", 9), says(true, 60));
    expect(pendingOrders(byHand, at(61))).toEqual([]);
  });
});

describe("the feeder's statement", () => {
  it("is not undone by an older one that comes late", () => {
    const orders = run(says(true, 60));
    expect(updateOrdersByPaused(orders, false, at(30))).toEqual({ orders, changed: [] });
  });
});

type Move = "pause" | "resume" | "repeatOld" | "carry" | "loseAnswer" | "reboot" | "repeatAnswer" | "report";
const moves = fc.array(
  fc.constantFrom<Move>("pause", "resume", "repeatOld", "carry", "loseAnswer", "reboot", "repeatAnswer", "report"),
  { maxLength: 60, size: "max" },
);

/** A feeder as the contract asks: does the newest order it was sent, answers, but may restart and forget that it is paused. */
function yard(steps: readonly Move[]) {
  let orders = initialOrders();
  let second = 0;
  let count = 0;
  const asked: Order[] = [];
  const feeder = { paused: false, answers: [] as { id: string; at: Instant }[] };
  const ask = (kind: OrderKind) => {
    const next = order(`o${++count}`, kind, second);
    asked.push(next);
    orders = requestOrder(orders, next).orders;
  };
  const carry = () => {
    const pending = pendingOrders(orders, at(second));
    orders = markOrdersSent(orders, at(second)).orders;
    for (const { id, kind } of pending) {
      feeder.paused = kind === "pause";
      feeder.answers.push({ id, at: at(second) });
    }
  };
  const answerAll = () => {
    for (const { id, at } of feeder.answers) orders = answerOrder(orders, done(id), at).orders;
  };
  const report = () => {
    orders = updateOrdersByPaused(orders, feeder.paused, at(second)).orders;
  };
  for (const step of steps) {
    second += 7;
    orders = markOrdersOverdue(orders, settings, at(second)).orders;
    if (step === "pause" || step === "resume") ask(step);
    else if (step === "repeatOld") for (const old of asked) orders = requestOrder(orders, old).orders;
    else if (step === "carry") carry();
    else if (step === "loseAnswer") feeder.answers.pop();
    else if (step === "reboot") feeder.paused = false;
    else if (step === "repeatAnswer") answerAll();
    else report();
  }
  const settle = () => {
    for (let round = 0; round < 3; round++) {
      second += 60;
      answerAll();
      report();
      second += 1;
      carry();
    }
    second += 60;
    answerAll();
    report();
  };
  return { settle, orders: () => orders, feeder, newestAsked: asked.at(-1), now: () => at(second) };
}

describe("any interleaving of requests, sending, answers, repeats and restarts", () => {
  it("ends in the state of the newest order, once the feeder reports", () => {
    let forgot = 0;
    fc.assert(
      fc.property(moves, (steps) => {
        const { settle, orders, feeder, newestAsked, now } = yard(steps);
        settle();
        if (newestAsked === undefined) return;
        expect(orders().newest?.id).toBe(newestAsked.id);
        expect(orders().newest?.status).toBe("confirmed");
        expect(feeder.paused).toBe(newestAsked.kind === "pause");
        expect(isPaused(orders(), now())).toBe(feeder.paused);
        expect(pauseFault(orders(), settings, now())).toBeNull();
        expect(JSON.parse(JSON.stringify(orders()))).toEqual(orders());
        expect(orders().earlier.length).toBeLessThanOrEqual(12);
        if (newestAsked.kind === "pause" && steps.at(-1) === "reboot") forgot += 1;
      }),
      { numRuns: 500 },
    );
    expect(forgot).toBeGreaterThan(0); // the case it guards was reached
  });
});
