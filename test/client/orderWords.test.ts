import { describe, expect, it } from "vitest";
import { feederSaysWords, orderWords, wantsResume } from "../../client/words/order.ts";
import type { OrderView } from "../../server/contract/api.ts";

const zone = "Europe/Stockholm";
const now = Date.parse("2026-11-25T13:20:00Z");
const order = (change: Partial<OrderView> = {}): OrderView => ({
  id: "order-0001",
  kind: "pause",
  phase: "asked",
  until: null,
  askedAt: "2026-11-25T13:00:00Z",
  askedBy: "Keeper",
  sentAt: null,
  answeredAt: null,
  problem: null,
  ...change,
});
const reached = (view: OrderView) =>
  orderWords(view, now, zone)?.stages.map((stage) => `${stage.name}${stage.reached ? "" : "?"}`);

describe("an order in words", () => {
  it("never sounds done before the feeder has confirmed", () => {
    for (const phase of ["asked", "sent", "overdue", "refused"] as const) {
      expect(orderWords(order({ phase }), now, zone)?.headline).not.toMatch(/: confirmed/);
    }
    expect(orderWords(order({ phase: "confirmed" }), now, zone)?.headline).toBe(
      "Pause until resumed: confirmed by the feeder",
    );
  });

  it("shows how far it has come", () => {
    expect(reached(order())).toEqual(["asked", "sent?", "confirmed?"]);
    expect(reached(order({ phase: "sent", sentAt: "2026-11-25T13:01:00Z" }))).toEqual(["asked", "sent", "confirmed?"]);
    expect(reached(order({ phase: "overdue", sentAt: null }))).toEqual(["asked", "sent?", "overdue"]);
    expect(reached(order({ phase: "refused", sentAt: "2026-11-25T13:01:00Z" }))).toEqual(["asked", "sent", "refused"]);
  });

  it("tells a keeper whose pause is overdue that the feeder may still be feeding", () => {
    const words = orderWords(order({ phase: "overdue" }), now, zone);
    expect(words?.worry).toBe(true);
    expect(words?.detail).toContain("still feeding");
  });

  it("quotes the feeder where it refuses", () => {
    expect(orderWords(order({ phase: "refused", problem: "lid open" }), now, zone)?.detail).toContain("“lid open”");
  });

  it("says when a pause ends by itself", () => {
    expect(orderWords(order({ until: "2026-11-25T14:00:00Z" }), now, zone)?.headline).toBe("Pause until 15:00: asked");
  });

  it("keeps quiet about an order that a newer one replaced", () => {
    expect(orderWords(order({ phase: "superseded" }), now, zone)).toBeNull();
  });
});

describe("what the feeder says", () => {
  it("is told apart from what was asked of it", () => {
    const pause = { order: order({ phase: "sent" }), feederSays: { paused: false, at: "2026-11-25T13:18:00Z" } };
    expect(feederSaysWords(pause, now, zone)).toBe("The feeder itself last said: feeding as usual, at 14:18.");
    expect(feederSaysWords({ order: null, feederSays: null }, now, zone)).toContain("not yet said");
  });
});

describe("the next sensible order", () => {
  const says = (paused: boolean) => ({ paused, at: "2026-11-25T13:18:00Z" });
  it("is to resume while a pause is on its way or holds", () => {
    expect(wantsResume({ order: order(), feederSays: says(false) })).toBe(true);
    expect(wantsResume({ order: order({ phase: "confirmed" }), feederSays: says(true) })).toBe(true);
    expect(wantsResume({ order: null, feederSays: says(true) })).toBe(true); // paused by hand at the feeder
  });
  it("is to pause once the feeder feeds again, or where the pause was refused", () => {
    expect(wantsResume({ order: order({ phase: "confirmed" }), feederSays: says(false) })).toBe(false);
    expect(wantsResume({ order: order({ phase: "refused" }), feederSays: says(false) })).toBe(false);
    expect(wantsResume({ order: order({ kind: "resume" }), feederSays: says(true) })).toBe(false);
    expect(wantsResume({ order: null, feederSays: null })).toBe(false);
  });
});
