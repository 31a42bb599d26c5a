import { describe, expect, it } from "vitest";
import { after, minutes } from "../../../server/domain/instant.ts";
import { currentStatement, withStatement } from "../../../server/domain/orders/evidence.ts";
import { initialOrders, type OrdersState } from "../../../server/domain/orders/order.ts";
import { pauseFaults, staysPausedFault } from "../../../server/domain/orders/orderFaults.ts";
import { displayedStatus, isPaused, pauseStatus } from "../../../server/domain/orders/pauseStatus.ts";
import { redateOrders } from "../../../server/domain/orders/redating.ts";
import {
  at,
  done,
  gives,
  order,
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

const kinds = (o: OrdersState, second: number) => pauseFaults(o, settings, at(second)).map(({ kind }) => kind);

describe("a confirmed pause", () => {
  const paused = [starts("b-1", -60), pause, sent(5), done("p1", 9)];

  it("is reverted by food whose motor began after the confirmation", () => {
    expect(run(...paused, gives(60)).revertedPause).toMatchObject({
      by: "portion",
      confirmedAt: at(9),
      portionCount: 1,
      inOneStart: true,
    });
    expect(kinds(run(...paused, gives(60)), 61)).toEqual(["feedsThoughPaused"]);
    // Recorded at 12 s, it ran two seconds, and a second may lie between its end and the record.
    expect(run(...paused, gives(12)).revertedPause).toBeUndefined();
    expect(run(...paused, gives(12.1)).revertedPause).toBeDefined();
    // A run that isn't reported is taken for the usual four seconds.
    expect(run(...paused, gives(14, "press", null)).revertedPause).toBeUndefined();
    expect(run(...paused, gives(14.1, "press", null)).revertedPause).toBeDefined();
  });

  it("counts each portion once it is reverted, and names the newest", () => {
    const fed = run(...paused, gives(60), gives(90, "keeper"), gives(80));
    expect(fed.revertedPause).toMatchObject({
      portionCount: 3,
      since: at(90),
      lastPortion: { at: at(90), cause: "keeper" },
    });
    expect(fed.lastFood).toMatchObject({ at: at(90), cause: "keeper" });
    const [fault] = pauseFaults(fed, settings, at(91));
    expect(fault?.reason).toMatch(
      /gave 3 portions since then\. The feeder reports that the last one was given by hand\. The pause/,
    );
    expect(pauseFaults(run(...paused, gives(60)), settings, at(61))[0]?.reason).toMatch(
      /gave a portion since then\. The pause/,
    );
    expect(fault?.evidence.map(({ label, at }) => [label, at])).toEqual([
      ["requested", at(0)],
      ["feeder reports", at(9)],
      ["confirmation, no longer valid", at(9)],
      ["last portion", at(90)],
    ]);
  });

  it("is not reverted by food in its last minute: its own clock may be a little fast", () => {
    const short = [requests(order("p1", "pause", 0, 600)), done("p1", 9)];
    expect(run(...short, gives(539)).revertedPause).toBeDefined();
    expect(run(...short, gives(540)).revertedPause).toBeUndefined();
  });

  it("is reverted by the feeder's own statement that it feeds, from the confirmation on", () => {
    expect(run(...paused, states(false, 9)).revertedPause).toMatchObject({ by: "statement", isStatedFeeding: true });
    expect(run(...paused, states(false, 8)).revertedPause).toBeUndefined();
    expect(kinds(run(...paused, states(false, 30)), 31)).toEqual(["pauseContradicted"]);
    const short = [requests(order("p1", "pause", 0, 600)), done("p1", 9)];
    expect(run(...short, states(false, 539)).revertedPause).toBeDefined();
    expect(run(...short, states(false, 540)).revertedPause).toBeUndefined();
  });

  it("is reverted by a restart, unless the feeder states in the same report that it is paused", () => {
    expect(run(...paused, starts("b-2", 100, null)).revertedPause).toMatchObject({ by: "restart", inOneStart: false });
    expect(run(...paused, starts("b-2", 100, false)).revertedPause).toMatchObject({ by: "restart" });
    expect(run(...paused, starts("b-2", 100, true)).revertedPause).toBeUndefined();
    expect(run(...paused, starts("b-1", 100, null, 160)).revertedPause).toBeUndefined(); // the same start
    expect(run(starts("b-1", -60), resume, done("r1", 9), starts("b-2", 100, null)).revertedPause).toBeUndefined();
    expect(run(pause, done("p1", 9), starts("b-1", 100, null)).revertedPause).toBeUndefined(); // no start was known before
    const short = [starts("b-1", -60), requests(order("p1", "pause", 0, 600)), done("p1", 9)];
    expect(run(...short, starts("b-2", 599, null)).revertedPause).toBeDefined();
    expect(run(...short, starts("b-2", 600, null)).revertedPause).toBeUndefined();
    expect(kinds(run(...paused, starts("b-2", 100, null)), 101)).toEqual([]); // it has its time to answer
    expect(kinds(run(...paused, starts("b-2", 100, null)), 250)).toEqual(["pauseOverdue"]);
  });

  it("is reverted by food that an earlier start gave, which shows nothing of the present one", () => {
    const fed = (second: number) => run(...paused, starts("b-2", 100, true), gives(second)).revertedPause;
    expect([fed(60)?.inOneStart, fed(110)?.inOneStart]).toEqual([false, true]);
  });

  it("that is reverted already is known to be contradicted by a statement too", () => {
    const restarted = [...paused, starts("b-2", 100, null)];
    expect(run(...restarted).revertedPause?.isStatedFeeding).toBe(false);
    expect(run(...restarted, states(false, 110)).revertedPause).toMatchObject({ by: "restart", isStatedFeeding: true });
  });

  it("is confirmed again after a restart by the first statement, after food in one start only ten minutes later", () => {
    const again = (...steps: Step[]) => run(...paused, ...steps).newest?.status;
    expect(again(starts("b-2", 100, null), states(true, 101))).toBe("confirmed");
    expect(again(starts("b-2", 100, null), states(true, 100))).toBe("requested");
    expect(again(gives(60), states(true, 660))).toBe("requested");
    expect(again(gives(60), states(true, 661))).toBe("confirmed");
    expect(again(gives(60), starts("b-2", 100, null), states(true, 101))).toBe("confirmed"); // it restarted meanwhile
  });

  it("is not confirmed again by `done` alone in a start in which it stated that it feeds", () => {
    const stated = [...paused, states(false, 30), sent(40)];
    expect(run(...stated, done("p1", 50)).newest?.status).toBe("sent");
    expect(run(...stated, states(true, 50)).newest?.status).toBe("confirmed");
    const restarted = [...paused, starts("b-2", 100, null), sent(110)];
    expect(run(...restarted, done("p1", 109)).newest?.status).toBe("sent"); // an answer to the sending before
    expect(run(...restarted, done("p1", 110)).newest?.status).toBe("confirmed");
  });
});

describe("whether a feeder is paused", () => {
  it("is what it stated last, and food afterwards shows that it feeds", () => {
    expect(pauseStatus(run(states(true, 10)), at(20))).toEqual({ kind: "paused", at: at(10) });
    expect(pauseStatus(run(states(true, 10), gives(20)), at(30))).toEqual({ kind: "feeding", at: at(20) });
    expect(pauseStatus(run(states(true, 10), gives(13)), at(30))).toEqual({ kind: "paused", at: at(10) });
    expect(pauseStatus(run(gives(20)), at(30))).toEqual({ kind: "feeding", at: at(20) });
    expect(pauseStatus(initialOrders(), at(30))).toEqual({ kind: "unknown", startedAt: null });
  });

  it("isn't known from food that an earlier start gave", () => {
    expect(pauseStatus(run(starts("b-1", 50), gives(49)), at(60)).kind).toBe("unknown");
    expect(pauseStatus(run(starts("b-1", 50), gives(50)), at(60)).kind).toBe("feeding");
  });

  it("doesn't count while a resume is requested, nor while a confirmation is reverted", () => {
    expect(isPaused(run(states(true, 10)), at(20))).toBe(true);
    expect(isPaused(run(states(true, 10), requests(order("r1", "resume", 15))), at(20))).toBe(false);
    expect(isPaused(run(states(true, 15), requests(order("r1", "resume", 15))), at(20))).toBe(true);
    const reverted = run(starts("b-1", -60), pause, done("p1", 9), gives(60), states(true, 70));
    expect(isPaused(reverted, at(80))).toBe(false);
  });

  it("is shown as contradicted where a confirmed resume is followed by the statement `paused`", () => {
    const shown = (...steps: Step[]) => {
      const o = run(resume, done("r1", 9), ...steps);
      return o.newest && displayedStatus(o, o.newest, at(100));
    };
    expect(shown()).toBe("confirmed");
    expect(shown(states(true, 9))).toBe("confirmed");
    expect(shown(states(true, 10))).toBe("contradicted");
    expect(shown(states(true, 10), gives(60))).toBe("confirmed");
    expect(staysPausedFault(run(resume, done("r1", 9), states(true, 10)), settings, at(100))?.kind).toBe("staysPaused");
    expect(staysPausedFault(run(resume, done("r1", 9)), settings, at(100))).toBeNull();
  });

  it("is a fault where the feeder refused to resume, at once, unless it feeds", () => {
    const [fault, fed] = [[], [gives(60)]].map((steps) =>
      staysPausedFault(run(resume, refused("r1", 9, "lid open"), ...steps), settings, at(61)),
    );
    expect(fault?.reason).toContain("refused to resume. It reports: lid open");
    expect(fed).toBeNull();
  });

  it("is a statement of its present start only", () => {
    expect(currentStatement(run(starts("b-1", 0), states(true, 10), starts("b-2", 100)))).toBeNull();
    expect(currentStatement(run(starts("b-1", 0), states(true, 10)))?.paused).toBe(true);
  });
});

describe("a statement", () => {
  it("replaces none that is newer, and keeps a known end while the feeder goes on stating that it is paused", () => {
    const until = withStatement(initialOrders(), true, at(10), at(600));
    expect(until.lastStatement).toEqual({ paused: true, at: at(10), until: at(600) });
    expect(withStatement(until, true, at(20)).lastStatement).toEqual({ paused: true, at: at(20), until: at(600) });
    expect(withStatement(until, true, at(20), null).lastStatement).toEqual({ paused: true, at: at(20) });
    expect(withStatement(until, false, at(20)).lastStatement).toEqual({ paused: false, at: at(20) });
    expect(withStatement(until, false, at(9))).toBe(until);
  });
});

describe("a report that was delayed", () => {
  const confirmed = run(starts("b-1", 0), pause, done("p1", 60), gives(80));

  it("dates its moments back once a report of the same start has come with a shorter delay", () => {
    const redated = redateOrders(confirmed, at(-10));
    expect(redated.newest?.answeredAt).toBeNull(); // food reverted it
    expect(redated.lastStatement).toMatchObject({ at: at(50), datedBy: at(-10) });
    expect(redated.lastFood).toMatchObject({ at: at(70), motorStartedAt: at(67), datedBy: at(-10) });
    expect(redated.revertedPause?.lastPortion).toMatchObject({ at: at(70), motorStartedAt: at(67) });
    const answered = redateOrders(run(starts("b-1", 0), pause, done("p1", 60)), at(-10));
    expect(answered).toMatchObject({ newest: { answeredAt: at(50) }, answerDatedBy: at(-10) });
    expect(answered).not.toHaveProperty("revertedPause");
  });

  it("is no delay within a second, by which two clocks may differ", () => {
    expect(redateOrders(confirmed, at(-1))).toEqual(confirmed);
    expect(redateOrders(confirmed, at(-1.1)).lastStatement?.at).toBe(at(58.9));
    expect(redateOrders(confirmed, at(10))).toEqual(confirmed);
  });
});

describe("a pause that wasn't followed", () => {
  const reason = (second: number, ...steps: Step[]) =>
    pauseFaults(run(pause, ...steps), settings, at(second))[0]?.reason;

  it("has its reason: not sent, sent and not confirmed, refused, lost by a restart", () => {
    expect(reason(149)).toBeUndefined();
    expect(reason(150)).toBe("A pause was requested, but the order has not reached the feeder.");
    expect(reason(150, sent(5))).toBe(
      "A pause was requested and sent, but the feeder has not confirmed that it is paused.",
    );
    expect(reason(10, refused("p1", 9, "lid open"))).toBe("The feeder refused to pause. It reports: lid open");
    expect(reason(10, refused("p1", 9))).toBe("The feeder refused to pause.");
    const restarted = [starts("b-1", -60), done("p1", 9), starts("b-2", 100, null)];
    expect(reason(250, ...restarted)).toMatch(/restarted while it was paused, and the pause has not reached it again/);
    expect(reason(250, ...restarted, sent(110))).toMatch(/The pause was sent again, but/);
    expect(reason(101, starts("b-1", -60), done("p1", 9), gives(60), starts("b-2", 100, null))).toMatch(
      /It restarted and may have lost the pause/,
    );
  });

  it("is none where the feeder has stated since the request that it is paused, and has not fed since", () => {
    expect(reason(200, states(true, 0))).toBeUndefined();
    expect(reason(200, states(true, -1))).toBeDefined();
    expect(reason(200, states(true, 10), gives(60))).toBeDefined();
  });

  it("is no matter of a resume", () => {
    expect(pauseFaults(run(resume), settings, at(9_999))).toEqual([]);
    expect(staysPausedFault(run(pause), settings, after(at(0), minutes(999)))).toBeNull();
    expect(staysPausedFault(initialOrders(), settings, at(0))).toBeNull();
  });
});
