import { describe, expect, it } from "vitest";
import { isResumeOffered } from "../../client/text/order.ts";
import { feederStateText, orderText } from "../../client/text/orderDetail.ts";
import type { OrderView, PauseView } from "../../server/contract/api.ts";

const zone = "Europe/Stockholm";
const now = Date.parse("2026-11-25T13:20:00Z");
const order = (change: Partial<OrderView> = {}): OrderView => ({
  id: "order-0001",
  kind: "pause",
  status: "requested",
  until: null,
  requestedAt: "2026-11-25T13:00:00Z",
  requestedBy: "Keeper",
  sentAt: null,
  answeredAt: null,
  problem: null,
  ...change,
});
const reached = (view: OrderView) =>
  orderText(view, now, zone)?.stages.map((stage) => `${stage.name}${stage.isReached ? "" : "?"}`);

describe("the text of an order", () => {
  it("is never worded as done before the feeder has confirmed", () => {
    for (const status of ["requested", "sent", "overdue", "refused"] as const) {
      expect(orderText(order({ status }), now, zone)?.headline).not.toMatch(/: confirmed/);
    }
    expect(orderText(order({ status: "confirmed" }), now, zone)?.headline).toBe(
      "Pause until resumed: confirmed by the feeder",
    );
  });

  it("shows how far it has come", () => {
    expect(reached(order())).toEqual(["requested", "sent?", "confirmed?"]);
    expect(reached(order({ status: "sent", sentAt: "2026-11-25T13:01:00Z" }))).toEqual([
      "requested",
      "sent",
      "confirmed?",
    ]);
    expect(reached(order({ status: "overdue", sentAt: null }))).toEqual(["requested", "sent?", "no answer"]);
    expect(reached(order({ status: "refused", sentAt: "2026-11-25T13:01:00Z" }))).toEqual([
      "requested",
      "sent",
      "refused",
    ]);
  });

  it("warns that the feeder may still be feeding where a pause is overdue", () => {
    const shown = orderText(order({ status: "overdue" }), now, zone);
    expect(shown?.needsAttention).toBe(true);
    expect(shown?.detail).toContain("still feeding");
  });

  it("quotes the feeder where it refuses", () => {
    expect(orderText(order({ status: "refused", problem: "lid open" }), now, zone)?.detail).toContain("“lid open”");
  });

  it("shows when a pause ends by itself", () => {
    expect(orderText(order({ until: "2026-11-25T14:00:00Z" }), now, zone)?.headline).toBe(
      "Pause until 15:00: requested",
    );
  });

  it("leaves out an order that a newer one replaced", () => {
    expect(orderText(order({ status: "superseded" }), now, zone)).toBeNull();
  });
});

const standing = { kind: "unknown", at: null } as const;
const pauseOf = (contradicted: Pick<PauseView, "order" | "statement"> & Partial<PauseView>): PauseView => ({
  lastPortion: null,
  status: standing,
  lost: null,
  ...contradicted,
});

describe("the state that the feeder reports", () => {
  it("is separate from the order", () => {
    const pause = { order: order({ status: "sent" }), statement: { paused: false, at: "2026-11-25T13:18:00Z" } };
    expect(feederStateText(pauseOf(pause), now, zone)).toBe("Last reported by the feeder: feeding as usual, at 14:18.");
    expect(feederStateText(pauseOf({ order: null, statement: null }), now, zone)).toContain("not reported yet");
  });
});

describe("a confirmation that is not valid any more", () => {
  const undone = { confirmedAt: "2026-11-25T13:00:00Z", since: "2026-11-25T13:10:00Z", portions: 0 } as const;
  const all = (shown: ReturnType<typeof orderText>) => JSON.stringify(shown);

  it("is never shown as confirmed: after a restart, after another report, after a portion", () => {
    const restarted = orderText(order({ status: "sent" }), now, zone, { ...undone, by: "restart" });
    expect(restarted?.headline).toContain("not certain any more");
    const contradicted = orderText(order({ status: "contradicted" }), now, zone, { ...undone, by: "statement" });
    expect(contradicted?.headline).toBe("Pause failed: the feeder reports that it is feeding");
    const fed = orderText(order({ status: "contradicted" }), now, zone, { ...undone, by: "portion", portions: 12 });
    expect(fed?.detail).toContain("12 portions since");
    for (const shown of [restarted, contradicted, fed]) {
      expect(shown?.needsAttention).toBe(true);
      expect(all(shown)).not.toContain("confirmed by the feeder");
    }
  });

  it("shows what is known after an end without a report, and which food was given", () => {
    const at = "2026-11-25T13:00:00Z";
    const statement = { paused: true, at: "2026-11-25T12:00:00Z" };
    const ended = pauseOf({
      order: order({ status: "ended", until: at }),
      statement,
      status: { kind: "endedUnconfirmed", at },
    });
    expect(feederStateText(ended, now, zone)).toBe(
      "It was due to resume at 14:00. It has not reported since then whether it is feeding.",
    );
    const fed = pauseOf({
      order: null,
      statement,
      lastPortion: { at, cause: "timer" },
      status: { kind: "feeding", at },
    });
    expect(feederStateText(fed, now, zone)).toBe("The feeder last gave food at 14:00.");
  });
});

describe("the next sensible order", () => {
  const statement = (paused: boolean) => ({ paused, at: "2026-11-25T13:18:00Z" });
  it("is to resume while a pause is on its way or holds", () => {
    expect(isResumeOffered(pauseOf({ order: order(), statement: statement(false) }))).toBe(true);
    expect(isResumeOffered(pauseOf({ order: order({ status: "confirmed" }), statement: statement(true) }))).toBe(true);
    expect(isResumeOffered(pauseOf({ order: null, statement: statement(true) }))).toBe(true); // paused at the feeder
  });
  it("is to pause once the feeder feeds again, or where the pause was refused", () => {
    expect(isResumeOffered(pauseOf({ order: order({ status: "confirmed" }), statement: statement(false) }))).toBe(
      false,
    );
    expect(isResumeOffered(pauseOf({ order: order({ status: "refused" }), statement: statement(false) }))).toBe(false);
    expect(isResumeOffered(pauseOf({ order: order({ kind: "resume" }), statement: statement(true) }))).toBe(false);
    expect(isResumeOffered(pauseOf({ order: null, statement: null }))).toBe(false);
  });
});
