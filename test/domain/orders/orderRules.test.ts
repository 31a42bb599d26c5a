import { describe, expect, it } from "vitest";
import { initialOrders, type OrdersState } from "../../../server/domain/orders/order.ts";
import { staysPausedFault } from "../../../server/domain/orders/orderFaults.ts";
import {
  hasEnded,
  markOrdersOverdue,
  markOrdersSent,
  ordersCheckAt,
  overdueAt,
  pendingOrders,
  requestOrder,
} from "../../../server/domain/orders/orderTransitions.ts";
import { displayedStatus, pauseStatus } from "../../../server/domain/orders/pauseStatus.ts";
import {
  at,
  done,
  gives,
  order,
  overdue,
  pause,
  refused,
  requests,
  resume,
  run,
  type Step,
  sent,
  settings,
  starts,
  states,
} from "./orderSteps.ts";

describe("the end of a pause", () => {
  const short = requests(order("p1", "pause", 0, 600));

  it("is its own last moment, and a resume has none", () => {
    expect(hasEnded(order("p1", "pause", 0, 600), at(599))).toBe(false);
    expect(hasEnded(order("p1", "pause", 0, 600), at(600))).toBe(true);
    expect(hasEnded(order("p1"), at(9_999))).toBe(false);
    expect(hasEnded(order("r1", "resume", 0, 600), at(601))).toBe(false);
  });

  it("is not confirmed by the feeder until it states so", () => {
    const ended = run(short, done("p1", 9));
    expect(pauseStatus(ended, at(599))).toEqual({ kind: "paused", at: at(9) });
    expect(pauseStatus(ended, at(600))).toEqual({ kind: "endedUnconfirmed", until: at(600) });
    expect(pauseStatus(run(short, done("p1", 9), states(true, 600)), at(700))).toEqual({ kind: "paused", at: at(600) });
    expect(pauseStatus(run(short, done("p1", 9), states(false, 601)), at(700))).toEqual({
      kind: "feeding",
      at: at(601),
    });
  });

  it("ends the pause that the feeder states too, though it doesn't state when", () => {
    expect(pauseStatus(run(short, states(true, 20)), at(599))).toEqual({ kind: "paused", at: at(20) });
    expect(pauseStatus(run(short, states(true, 20)), at(600))).toEqual({ kind: "endedUnconfirmed", until: at(600) });
    const replaced = run(short, states(true, 20), requests(order("r1", "resume", 30, 600)));
    expect(pauseStatus(replaced, at(600))).toEqual({ kind: "paused", at: at(20) });
  });

  it("is shown as ended a minute early where the feeder feeds by its own clock, and not before", () => {
    const fed = (second: number) => run(short, done("p1", 9), states(false, second));
    const shown = (o: OrdersState, second: number) => o.newest && displayedStatus(o, o.newest, at(second));
    expect(shown(fed(545), 545)).toBe("ended");
    expect(shown(run(short, done("p1", 9)), 545)).toBe("confirmed");
    expect(shown(fed(530), 531)).toBe("contradicted");
  });

  it("is a fault where the feeder still states that it is paused, after the time to answer", () => {
    const stays = (second: number, ...steps: Step[]) =>
      staysPausedFault(run(short, done("p1", 9), ...steps), settings, at(second))?.kind;
    expect(stays(749, states(true, 610))).toBeUndefined();
    expect(stays(750, states(true, 610))).toBe("staysPaused"); // 600 s, twice a minute and half a minute
    expect(stays(750, states(true, 599))).toBeUndefined();
    expect(stays(750, states(true, 600))).toBe("staysPaused");
    expect(stays(750, states(true, 610), states(false, 620))).toBeUndefined();
    expect(stays(750)).toBeUndefined();
  });

  it("is when the periodic check comes next, then the time to answer after it", () => {
    const checkAt = (o: OrdersState, second: number) => ordersCheckAt(o, settings, at(second));
    const confirmed = run(short, done("p1", 9));
    expect(checkAt(confirmed, 10)).toBe(at(600));
    expect(checkAt(confirmed, 600)).toBe(at(750));
    expect(checkAt(confirmed, 750)).toBeNull();
    expect(checkAt(run(short), 10)).toBe(at(150)); // its answer is due before
    expect(checkAt(run(pause, done("p1", 9)), 10)).toBeNull();
    expect(checkAt(initialOrders(), 10)).toBeNull();
  });
});

describe("sending an order", () => {
  it("is recorded once, and for an overdue order without changing that it is overdue", () => {
    expect(run(pause, sent(5), sent(8)).newest).toMatchObject({ status: "sent", sentAt: at(5) });
    const late = run(pause, overdue(150), sent(160), sent(170));
    expect(late.newest).toMatchObject({ status: "overdue", sentAt: at(160) });
    expect(markOrdersSent(late, at(180)).changed).toEqual([]);
    expect(markOrdersSent(initialOrders(), at(1)).changed).toEqual([]);
  });

  it("goes on until the feeder has answered, by done or refused", () => {
    const pending = (...steps: Step[]) => pendingOrders(run(...steps), at(999)).length;
    expect([pending(pause), pending(pause, sent(5)), pending(pause, overdue(150))]).toEqual([1, 1, 1]);
    expect([pending(pause, done("p1", 9)), pending(pause, refused("p1", 9)), pending()]).toEqual([0, 0, 0]);
  });

  it("is overdue once, from its time to answer on, while it is not over", () => {
    expect(run(pause, overdue(149)).newest?.status).toBe("requested");
    expect(run(pause, overdue(150)).newest?.status).toBe("overdue");
    expect(markOrdersOverdue(run(pause, overdue(150)), settings, at(160)).changed).toEqual([]);
    expect(run(requests(order("p1", "pause", 0, 100)), overdue(150)).newest?.status).toBe("requested");
    expect(overdueAt(run(pause, done("p1", 9)), settings)).toBeNull();
  });
});

describe("a new order", () => {
  it("supersedes only one that has no answer", () => {
    const changed = (...steps: Step[]) =>
      requestOrder(run(...steps), order("r1", "resume", 20)).changed.map(({ id, status }) => `${id} ${status}`);
    expect(changed(pause)).toEqual(["p1 superseded", "r1 requested"]);
    expect(changed(pause, overdue(150))).toEqual(["p1 superseded", "r1 requested"]);
    expect(changed(pause, done("p1", 9))).toEqual(["r1 requested"]);
    expect(changed(pause, refused("p1", 9))).toEqual(["r1 requested"]);
    expect(changed()).toEqual(["r1 requested"]);
  });

  it("is none where its id is one of the last seventeen", () => {
    const many = Array.from({ length: 18 }, (_, n) => requests(order(`o${n}`, "pause", n)));
    const orders = run(...many);
    expect(orders.newest?.id).toBe("o17");
    expect(orders.earlier).toEqual(Array.from({ length: 12 }, (_, n) => `o${n + 1}`));
    for (const known of ["o1", "o12", "o13", "o16", "o17"])
      expect(requestOrder(orders, order(known)).changed).toEqual([]);
    expect(requestOrder(orders, order("o0")).changed).not.toEqual([]);
    expect(orders.replaced?.map(({ id }) => id)).toEqual(["o13", "o14", "o15", "o16"]);
  });

  it("forgets what reverted the order before it", () => {
    const reverted = run(starts("b-1", -60), pause, done("p1", 9), gives(60));
    expect(reverted.revertedPause).toBeDefined();
    expect(requestOrder(reverted, order("p2", "pause", 70)).orders).not.toHaveProperty("revertedPause");
  });
});

describe("an answer to an older order", () => {
  it("states the pause that the feeder follows, with that one's end", () => {
    const replaced = [requests(order("p1", "pause", 0, 600)), requests(order("p2", "pause", 20))];
    expect(run(...replaced, done("p1", 30)).lastStatement).toEqual({ paused: true, at: at(30), until: at(600) });
    expect(run(...replaced, refused("p1", 30)).lastStatement).toBeNull();
    expect(run(...replaced, done("p1", 30, "over")).lastStatement).toBeNull();
    expect(run(...replaced, done("p1", 30)).newest?.status).toBe("requested");
  });

  it("states by an old resume that it feeds", () => {
    const replaced = [resume, requests(order("p2", "pause", 20))];
    expect(run(...replaced, done("r1", 30)).lastStatement).toEqual({ paused: false, at: at(30) });
    expect(run(...replaced, done("r1", 30, "over")).lastStatement).toEqual({ paused: false, at: at(30) });
    expect(run(...replaced, done("r1", 30, "earlier")).lastStatement).toBeNull();
  });

  it("gives its end to a later statement that is about the same pause", () => {
    const replaced = [requests(order("p1", "pause", 0, 600)), requests(order("p2", "pause", 20))];
    expect(run(...replaced, states(true, 40), done("p1", 30, "earlier")).lastStatement?.until).toEqual(at(600));
    expect(run(...replaced, states(false, 40), done("p1", 30, "earlier")).lastStatement).toEqual({
      paused: false,
      at: at(40),
    });
    expect(run(...replaced, states(true, 25), done("p1", 30, "earlier")).lastStatement?.until).toBeUndefined();
  });
});

describe("a repeated answer", () => {
  it("changes nothing, nor does an older one", () => {
    const confirmed = run(pause, sent(5), done("p1", 9));
    expect(done("p1", 9)(confirmed)).toEqual({ orders: confirmed, changed: [] });
    expect(done("p1", 8)(confirmed)).toEqual({ orders: confirmed, changed: [] });
    const no = run(pause, refused("p1", 9, "lid open"));
    expect(refused("p1", 20, "lid open")(no)).toEqual({ orders: no, changed: [] });
    expect(done("p1", 20)(no).orders.newest).toMatchObject({ status: "confirmed", problem: null });
  });
});

describe("an answer from an earlier start, which came late", () => {
  const restarted = [starts("b-1", -60), pause, sent(5), starts("b-2", 100)];

  it("doesn't confirm a pause: the present start may not have kept it", () => {
    const late = run(...restarted, done("p1", 90, "earlier"));
    expect(late.newest?.status).toBe("sent");
    expect(late.revertedPause).toMatchObject({ by: "restart", since: at(90) });
    expect(pauseStatus(late, at(120)).kind).toBe("unknown");
  });

  it("confirms a pause together with a statement of the present start, made before or after it came", () => {
    expect(run(...restarted, states(true, 110), done("p1", 90, "earlier")).newest).toMatchObject({
      status: "confirmed",
      answeredAt: at(110),
    });
    expect(run(...restarted, done("p1", 90, "earlier"), states(true, 110)).newest?.status).toBe("confirmed");
    expect(run(...restarted, states(false, 110), done("p1", 90, "earlier")).newest?.status).toBe("sent");
  });

  it("doesn't replace the known end of a pause where the older pause had none", () => {
    const three = [pause, requests(order("p2", "pause", 10, 600)), requests(order("p3", "pause", 20))];
    const late = run(...three, done("p2", 30), done("p1", 25, "earlier"));
    expect(late.lastStatement?.until).toBe(at(600));
    expect(run(...three, done("p2", 30), done("p1", 30, "earlier")).lastStatement?.until).toBe(at(600));
  });
});

describe("an answer to a sending before the last", () => {
  it("changes nothing: the pause was requested again since then", () => {
    const lost = [starts("b-1", -60), pause, sent(5), done("p1", 9), starts("b-2", 100)];
    expect(run(...lost, refused("p1", 105)).newest?.status).toBe("requested");
    expect(run(...lost, sent(110), refused("p1", 109)).newest?.status).toBe("sent");
    expect(run(...lost, sent(110), refused("p1", 110)).newest?.status).toBe("refused");
  });

  it("changes nothing where nothing was requested", () => {
    expect(run(done("p1", 9))).toEqual(initialOrders());
  });
});

describe("the status of an order that keepers see", () => {
  const shown = (second: number, ...steps: Step[]) => {
    const orders = run(...steps);
    return orders.newest && displayedStatus(orders, orders.newest, at(second));
  };

  it("is that the feeder refused, also where it fed against its earlier confirmation", () => {
    const fed = [starts("b-1", -60), pause, sent(5), done("p1", 9), gives(60)];
    expect(shown(90, ...fed)).toBe("contradicted");
    expect(shown(90, ...fed, sent(70), refused("p1", 80))).toBe("refused");
  });

  it("is never that it ended early where the feeder didn't confirm it", () => {
    const short = requests(order("p1", "pause", 0, 600));
    expect(shown(545, short, sent(5), states(false, 545))).toBe("sent");
  });
});

describe("a resume that the feeder doesn't follow in time", () => {
  it("is a fault that says whether the order was sent", () => {
    const reason = (...steps: Step[]) => staysPausedFault(run(resume, ...steps), settings, at(150))?.reason;
    expect(reason()).toBe("Resume was requested, but the order has not reached the feeder.");
    expect(reason(sent(5))).toBe("Resume was requested and sent, but the feeder has not confirmed that it is feeding.");
  });
});
