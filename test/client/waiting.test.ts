import { describe, expect, it } from "vitest";
import { expiresAt, fateOf, isExpired, sortOut, supersededBy, type WaitingAct } from "../../client/kept/waiting.ts";

const asked = Date.parse("2026-11-25T13:00:00Z");
const minute = 60_000;
const act = (change: Partial<WaitingAct> = {}): WaitingAct => ({
  id: "act-00000001",
  kind: "pause",
  feeder: "rowan",
  feederName: "Rowan",
  path: "/feeders/rowan/orders",
  body: {},
  words: "pause until resumed",
  askedAt: asked,
  ...change,
});

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
    const late = act({ id: "late", askedAt: asked + minute });
    const early = act({ id: "early" });
    const stale = act({ id: "stale", askedAt: asked - 60 * minute });
    const { live, expired } = sortOut([late, stale, early], asked + 2 * minute);
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
    expect(fateOf("ok", 0)).toBe("done");
    expect(fateOf("unreachable", 0)).toBe("keep");
    expect(fateOf("signedOut", 401)).toBe("keep");
    expect(fateOf("problem", 429)).toBe("keep");
    expect(fateOf("problem", 500)).toBe("keep");
    expect(fateOf("problem", 404)).toBe("drop");
    expect(fateOf("problem", 400)).toBe("drop");
  });
});
