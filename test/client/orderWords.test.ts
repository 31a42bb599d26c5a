import { describe, expect, it } from "vitest";
import { feederSaysWords, orderWords, wantsResume } from "../../client/words/order.ts";
import type { OrderView, PauseView } from "../../server/contract/api.ts";

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

const standing = { kind: "unknown", at: null } as const;
const pauseOf = (said: Pick<PauseView, "order" | "feederSays"> & Partial<PauseView>): PauseView => ({
  feederGave: null,
  standing,
  undone: null,
  ...said,
});

describe("what the feeder says", () => {
  it("is told apart from what was asked of it", () => {
    const pause = { order: order({ phase: "sent" }), feederSays: { paused: false, at: "2026-11-25T13:18:00Z" } };
    expect(feederSaysWords(pauseOf(pause), now, zone)).toBe("The feeder itself last said: feeding as usual, at 14:18.");
    expect(feederSaysWords(pauseOf({ order: null, feederSays: null }), now, zone)).toContain("not yet said");
  });
});

describe("a confirmation that no longer holds", () => {
  const undone = { confirmedAt: "2026-11-25T13:00:00Z", since: "2026-11-25T13:10:00Z", portions: 0 } as const;
  const all = (words: ReturnType<typeof orderWords>) => JSON.stringify(words);

  it("is never told as confirmed: after a new start, after the feeder's own word, after food", () => {
    const anew = orderWords(order({ phase: "sent" }), now, zone, { ...undone, by: "restart" });
    expect(anew?.headline).toContain("no longer known to hold");
    const said = orderWords(order({ phase: "contradicted" }), now, zone, { ...undone, by: "word" });
    expect(said?.headline).toBe("Pause not kept: the feeder says that it feeds");
    const fed = orderWords(order({ phase: "contradicted" }), now, zone, { ...undone, by: "portion", portions: 12 });
    expect(fed?.detail).toContain("12 portions since");
    for (const words of [anew, said, fed]) {
      expect(words?.worry).toBe(true);
      expect(all(words)).not.toContain("confirmed by the feeder");
    }
  });

  it("says of an end that passed unheard what is known, and of food that it was given", () => {
    const at = "2026-11-25T13:00:00Z";
    const says = { paused: true, at: "2026-11-25T12:00:00Z" };
    const ended = pauseOf({
      order: order({ phase: "ended", until: at }),
      feederSays: says,
      standing: { kind: "endedUnheard", at },
    });
    expect(feederSaysWords(ended, now, zone)).toBe(
      "It was to resume at 14:00 by itself. It has not said since whether it did.",
    );
    const fed = pauseOf({
      order: null,
      feederSays: says,
      feederGave: { at, cause: "timer" },
      standing: { kind: "feeding", at },
    });
    expect(feederSaysWords(fed, now, zone)).toBe("The feeder last gave food at 14:00.");
  });
});

describe("the next sensible order", () => {
  const says = (paused: boolean) => ({ paused, at: "2026-11-25T13:18:00Z" });
  it("is to resume while a pause is on its way or holds", () => {
    expect(wantsResume(pauseOf({ order: order(), feederSays: says(false) }))).toBe(true);
    expect(wantsResume(pauseOf({ order: order({ phase: "confirmed" }), feederSays: says(true) }))).toBe(true);
    expect(wantsResume(pauseOf({ order: null, feederSays: says(true) }))).toBe(true); // paused by hand at the feeder
  });
  it("is to pause once the feeder feeds again, or where the pause was refused", () => {
    expect(wantsResume(pauseOf({ order: order({ phase: "confirmed" }), feederSays: says(false) }))).toBe(false);
    expect(wantsResume(pauseOf({ order: order({ phase: "refused" }), feederSays: says(false) }))).toBe(false);
    expect(wantsResume(pauseOf({ order: order({ kind: "resume" }), feederSays: says(true) }))).toBe(false);
    expect(wantsResume(pauseOf({ order: null, feederSays: null }))).toBe(false);
  });
});
