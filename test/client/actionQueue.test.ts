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

const requestedAt = Date.parse("2026-11-25T13:00:00Z");
const minute = 60_000;
const action = (change: Partial<FeederAction> = {}): FeederAction => ({
  id: "action-00000001",
  kind: "pause",
  feeder: "rowan",
  feederName: "Rowan",
  path: "/feeders/rowan/orders",
  body: {},
  text: "pause until resumed",
  requestedAt,
  ...change,
});

const yardAction = (change: Partial<YardAction> = {}): YardAction => ({
  id: "yard-0001",
  kind: "pauseAll",
  yard: "alder-croft",
  yardName: "Alder Croft",
  feeders: ["rowan", "larch"],
  path: "/yards/alder-croft/orders",
  body: {},
  text: "pause all feeders",
  requestedAt,
  ...change,
});
const idsOf = (actions: readonly { readonly id: string }[]) => actions.map(({ id }) => id);

describe("an action that is not sent yet", () => {
  it("expires when the keeper would not want it any more", () => {
    expect(expiresAt(action()) - requestedAt).toBe(10 * minute);
    expect(expiresAt(action({ kind: "refill" })) - requestedAt).toBe(7 * 24 * 60 * minute);
    expect(expiresAt(action({ kind: "acknowledge" })) - requestedAt).toBe(24 * 60 * minute);
    expect(isExpired(action(), requestedAt + 10 * minute - 1)).toBe(false);
    expect(isExpired(action(), requestedAt + 10 * minute)).toBe(true);
  });

  it("expires also after the clock was set back", () => {
    expect(isExpired(action(), requestedAt - 60 * minute)).toBe(true);
    expect(isExpired(action(), requestedAt - 10_000)).toBe(false); // a small step is ordinary
  });

  it("is sent in the order of the requests", () => {
    const late = action({ id: "late", requestedAt: requestedAt + minute });
    const early = action({ id: "early" });
    const stale = action({ id: "stale", requestedAt: requestedAt - 60 * minute });
    const { live, expired } = splitExpired([late, stale, early], requestedAt + 2 * minute);
    expect(live.map((each) => each.id)).toEqual(["early", "late"]);
    expect(expired.map((each) => each.id)).toEqual(["stale"]);
  });

  it("is replaced by a newer order for the same feeder, and only there", () => {
    const pause = action({ id: "pause" });
    const elsewhere = action({ id: "elsewhere", feeder: "larch" });
    const refill = action({ id: "refill", kind: "refill", path: "/feeders/rowan/refills" });
    const resume = action({ id: "resume", kind: "resume" });
    expect(supersededBy(resume, [pause, elsewhere, refill, resume]).map((each) => each.id)).toEqual(["pause"]);
  });

  it("never replaces a second refill", () => {
    const first = action({ id: "first", kind: "refill", path: "/feeders/rowan/refills" });
    const second = action({ id: "second", kind: "refill", path: "/feeders/rowan/refills" });
    expect(supersededBy(second, [first, second])).toEqual([]);
  });

  it("is kept after a temporary error, and dropped after a permanent one", () => {
    expect(deliveryDecision("ok", 0)).toBe("done");
    expect(deliveryDecision("unreachable", 0)).toBe("keep");
    expect(deliveryDecision("signedOut", 401)).toBe("keep");
    expect(deliveryDecision("problem", 429)).toBe("keep");
    expect(deliveryDecision("problem", 500)).toBe("keep");
    expect(deliveryDecision("problem", 404)).toBe("drop");
    expect(deliveryDecision("problem", 400)).toBe("drop");
  });
});

describe("an order for a whole yard that is not sent yet", () => {
  it("expires as soon as an order for one feeder would", () => {
    for (const kind of ["pauseAll", "resumeAll"] as const) {
      expect(isExpired(yardAction({ kind }), requestedAt + 10 * minute - 1)).toBe(false);
      expect(isExpired(yardAction({ kind }), requestedAt + 10 * minute)).toBe(true);
    }
  });

  it("replaces queued orders for the yard's feeders, and nothing else", () => {
    const waiting = [
      action({ id: "pause-rowan" }),
      action({ id: "resume-larch", kind: "resume", feeder: "larch" }),
      action({ id: "pause-elsewhere", feeder: "hazel" }),
      action({ id: "refill", kind: "refill", path: "/feeders/rowan/refills" }),
      action({ id: "acknowledge", kind: "acknowledge", path: "/feeders/rowan/alarms/foodLow/acknowledge" }),
      yardAction({ id: "older", kind: "resumeAll" }),
      yardAction({ id: "other-yard", yard: "hill", feeders: ["hazel"] }),
    ];
    expect(idsOf(supersededBy(yardAction(), waiting))).toEqual(["pause-rowan", "resume-larch", "older"]);
  });

  it("does not replace the pause of a feeder that a resume of the yard skips", () => {
    const resume = yardAction({ id: "resume", kind: "resumeAll", feeders: ["rowan"] });
    const onBench = action({ id: "pause-larch", feeder: "larch" });
    const all = yardAction({ id: "pause-all" });
    expect(supersededBy(resume, [onBench, all])).toEqual([]);
  });

  it("is still sent before a later order for one of its feeders, which is then the newest there", () => {
    const later = action({ id: "later", kind: "resume", requestedAt: requestedAt + 1 });
    expect(supersededBy(later, [yardAction()])).toEqual([]);
    expect(idsOf(splitExpired([later, yardAction()], requestedAt + minute).live)).toEqual(["yard-0001", "later"]);
  });

  it("is the last order of a feeder until a later one is requested", () => {
    const later = action({ id: "later", kind: "resume", requestedAt: requestedAt + 1 });
    expect(lastQueuedOrder("larch", [yardAction(), later])).toBe("pause");
    expect(lastQueuedOrder("rowan", [later, yardAction()])).toBe("resume");
    expect(lastQueuedOrder("hazel", [yardAction(), later])).toBeNull();
  });
});
