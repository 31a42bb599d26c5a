import { describe, expect, it } from "vitest";
import {
  deliveryDecision,
  expiresAt,
  type FeederAction,
  isExpired,
  lastQueuedOrder,
  splitExpired,
  supersededBy,
  type YardAction,
} from "../../client/offline/actionQueue.ts";

const asked = Date.parse("2026-11-25T13:00:00Z");
const minute = 60_000;
const act = (change: Partial<FeederAction> = {}): FeederAction => ({
  id: "act-00000001",
  kind: "pause",
  feeder: "rowan",
  feederName: "Rowan",
  path: "/feeders/rowan/orders",
  body: {},
  text: "pause until resumed",
  requestedAt: asked,
  ...change,
});

const yardAct = (change: Partial<YardAction> = {}): YardAction => ({
  id: "yard-0001",
  kind: "pauseAll",
  yard: "alder-croft",
  yardName: "Alder Croft",
  feeders: ["rowan", "larch"],
  path: "/yards/alder-croft/orders",
  body: {},
  text: "pause all feeders",
  requestedAt: asked,
  ...change,
});
const idsOf = (acts: readonly { readonly id: string }[]) => acts.map(({ id }) => id);

describe("an act that waits on the phone", () => {
  it("is let go when the keeper would no longer mean it", () => {
    expect(expiresAt(act()) - asked).toBe(10 * minute);
    expect(expiresAt(act({ kind: "refill" })) - asked).toBe(7 * 24 * 60 * minute);
    expect(expiresAt(act({ kind: "acknowledge" })) - asked).toBe(24 * 60 * minute);
    expect(isExpired(act(), asked + 10 * minute - 1)).toBe(false);
    expect(isExpired(act(), asked + 10 * minute)).toBe(true);
  });

  it("doesn't outlive a clock that was set back", () => {
    expect(isExpired(act(), asked - 60 * minute)).toBe(true);
    expect(isExpired(act(), asked - 10_000)).toBe(false); // a small step is ordinary
  });

  it("is sent in the order in which it was asked", () => {
    const late = act({ id: "late", requestedAt: asked + minute });
    const early = act({ id: "early" });
    const stale = act({ id: "stale", requestedAt: asked - 60 * minute });
    const { live, expired } = splitExpired([late, stale, early], asked + 2 * minute);
    expect(live.map((each) => each.id)).toEqual(["early", "late"]);
    expect(expired.map((each) => each.id)).toEqual(["stale"]);
  });

  it("gives way to a newer order for the same feeder, and only there", () => {
    const pause = act({ id: "pause" });
    const elsewhere = act({ id: "elsewhere", feeder: "larch" });
    const refill = act({ id: "refill", kind: "refill", path: "/feeders/rowan/refills" });
    const resume = act({ id: "resume", kind: "resume" });
    expect(supersededBy(resume, [pause, elsewhere, refill, resume]).map((each) => each.id)).toEqual(["pause"]);
  });

  it("never swallows a second refill", () => {
    const first = act({ id: "first", kind: "refill", path: "/feeders/rowan/refills" });
    const second = act({ id: "second", kind: "refill", path: "/feeders/rowan/refills" });
    expect(supersededBy(second, [first, second])).toEqual([]);
  });

  it("is kept over whatever passes, and dropped over what won't", () => {
    expect(deliveryDecision("ok", 0)).toBe("done");
    expect(deliveryDecision("unreachable", 0)).toBe("keep");
    expect(deliveryDecision("signedOut", 401)).toBe("keep");
    expect(deliveryDecision("problem", 429)).toBe("keep");
    expect(deliveryDecision("problem", 500)).toBe("keep");
    expect(deliveryDecision("problem", 404)).toBe("drop");
    expect(deliveryDecision("problem", 400)).toBe("drop");
  });
});

describe("an order for a whole yard that waits on the phone", () => {
  it("is let go as soon as an order for one feeder would be", () => {
    for (const kind of ["pauseAll", "resumeAll"] as const) {
      expect(isExpired(yardAct({ kind }), asked + 10 * minute - 1)).toBe(false);
      expect(isExpired(yardAct({ kind }), asked + 10 * minute)).toBe(true);
    }
  });

  it("takes the place of what waits for the yard's feeders, and of nothing else", () => {
    const waiting = [
      act({ id: "pause-rowan" }),
      act({ id: "resume-larch", kind: "resume", feeder: "larch" }),
      act({ id: "pause-elsewhere", feeder: "hazel" }),
      act({ id: "refill", kind: "refill", path: "/feeders/rowan/refills" }),
      act({ id: "acknowledge", kind: "acknowledge", path: "/feeders/rowan/alarms/foodLow/acknowledge" }),
      yardAct({ id: "older", kind: "resumeAll" }),
      yardAct({ id: "other-yard", yard: "hill", feeders: ["hazel"] }),
    ];
    expect(idsOf(supersededBy(yardAct(), waiting))).toEqual(["pause-rowan", "resume-larch", "older"]);
  });

  it("leaves the pause of a feeder that a resume of the yard leaves out", () => {
    const resume = yardAct({ id: "resume", kind: "resumeAll", feeders: ["rowan"] });
    const onBench = act({ id: "pause-larch", feeder: "larch" });
    const all = yardAct({ id: "pause-all" });
    expect(supersededBy(resume, [onBench, all])).toEqual([]);
  });

  it("still goes out before a later order for one of its feeders, which is then the newest there", () => {
    const later = act({ id: "later", kind: "resume", requestedAt: asked + 1 });
    expect(supersededBy(later, [yardAct()])).toEqual([]);
    expect(idsOf(splitExpired([later, yardAct()], asked + minute).live)).toEqual(["yard-0001", "later"]);
  });

  it("is what a feeder is asked last, until a later one is asked of it", () => {
    const later = act({ id: "later", kind: "resume", requestedAt: asked + 1 });
    expect(lastQueuedOrder("larch", [yardAct(), later])).toBe("pause");
    expect(lastQueuedOrder("rowan", [later, yardAct()])).toBe("resume");
    expect(lastQueuedOrder("hazel", [yardAct(), later])).toBeNull();
  });
});
