import { describe, expect, it } from "vitest";
import { feederOrderTexts, yardOrderSummary } from "../../client/text/yardOrder.ts";
import type { FeederView, OrderView, PauseView } from "../../server/contract/api.ts";
import { feederViewFixture } from "./viewFixtures.ts";

const now = Date.parse("2026-11-25T13:20:00Z"); // 14:20 in Stockholm
const page = { now, asOf: now, connection: "live", zone: "Europe/Stockholm" } as const;
const reportedAt = "2026-11-25T13:02:00Z";

const order = (change: Partial<OrderView> = {}): OrderView => ({
  id: "order-all-1",
  kind: "pause",
  status: "sent",
  until: null,
  requestedAt: "2026-11-25T13:00:00Z",
  requestedBy: "Ada",
  sentAt: "2026-11-25T13:01:00Z",
  answeredAt: null,
  problem: null,
  ...change,
});
const confirmed = order({ status: "confirmed", answeredAt: reportedAt });
const paused = { kind: "paused", at: reportedAt } as const;
const feeding = { kind: "feeding", at: reportedAt } as const;

const feeder = (name: string, change: Partial<PauseView> = {}): FeederView => {
  const base = feederViewFixture(now, { id: name.toLowerCase(), name });
  return { ...base, pause: { ...base.pause, status: feeding, order: order(), ...change } };
};
const done = (name: string) => feeder(name, { status: paused, order: confirmed });
const orderTextOf = (change: Partial<PauseView>) =>
  feederOrderTexts([feeder("Rowan", change), feeder("Larch")], page)[0]?.text;

describe("the state of a yard's order beside each feeder", () => {
  it("shows how far it has come", () => {
    expect(orderTextOf({ order: order({ status: "requested", sentAt: null }) })).toBe("Pause until resumed: requested");
    expect(orderTextOf({ order: order() })).toBe("Pause until resumed: sent, not yet confirmed");
    expect(orderTextOf({ order: order({ status: "overdue" }) })).toBe("Pause until resumed: not confirmed in time");
    expect(orderTextOf({ order: order({ status: "refused" }) })).toBe("Pause: refused by the feeder");
    expect(orderTextOf({ order: confirmed, status: paused })).toBe(
      "Pause until resumed: confirmed by the feeder at 14:02",
    );
  });

  it("shows what is known of a pause that is not followed, and never that it is confirmed", () => {
    const undone = { since: reportedAt, confirmedAt: reportedAt, portions: 1 };
    const broken = order({ status: "contradicted", answeredAt: reportedAt });
    expect(orderTextOf({ order: broken, lost: { ...undone, by: "portion" } })).toMatch(/the feeder gave food$/);
    expect(orderTextOf({ order: broken, lost: { ...undone, by: "statement" } })).toMatch(
      /the feeder reports that it is feeding$/,
    );
    expect(orderTextOf({ order: confirmed, status: feeding })).toBe("Pause failed: the feeder is feeding");
    expect(orderTextOf({ order: confirmed, status: { kind: "unknown", at: reportedAt } })).toBe(
      "Pause until resumed: not certain any more",
    );
    const resumed = order({ kind: "resume", status: "confirmed", answeredAt: reportedAt });
    expect(orderTextOf({ order: resumed, status: paused })).toBe("Resume failed: the feeder reports that it is paused");
  });

  it("does not count a pause that has ended since the view was made", () => {
    const ends = order({ status: "confirmed", answeredAt: reportedAt, until: "2026-11-25T13:10:00Z" });
    expect(orderTextOf({ order: ends, status: paused })).toBe("Pause until 14:10: not certain any more");
    expect(yardOrderSummary([feeder("Rowan", { order: ends, status: paused }), done("Larch")], page)).not.toMatch(
      /all 2/,
    );
  });

  it("leaves out a confirmed order of one feeder, and a resume of long ago", () => {
    const own = feeder("Rowan", { order: { ...confirmed, id: "order-own" }, status: paused });
    expect(feederOrderTexts([own, feeder("Larch", { order: null })], page)).toEqual([null, null]);
    const resumed = { ...confirmed, kind: "resume" as const };
    const both = ["Rowan", "Larch"].map((name) => feeder(name, { order: resumed }));
    expect(feederOrderTexts(both, page).every((text) => text !== null)).toBe(true);
    const later = { ...page, now: now + 2 * 3_600_000, asOf: now + 2 * 3_600_000 };
    expect(feederOrderTexts(both, later)).toEqual([null, null]);
    expect(yardOrderSummary(both, later)).toBeNull();
  });
});

describe("the summary of a yard's order", () => {
  it("counts the confirmed feeders and names the others", () => {
    const seven = ["Alder", "Birch", "Cedar", "Elm", "Hazel"].map(done);
    expect(yardOrderSummary([...seven, feeder("Rowan"), feeder("Larch")], page)).toBe(
      "Paused: 5 of 7 feeders confirmed. Not confirmed: Larch, Rowan.",
    );
    expect(yardOrderSummary([done("Rowan"), done("Larch")], page)).toBe("Paused: all 2 feeders confirmed.");
  });

  it("never counts a feeder that is not known to be paused", () => {
    for (const standing of [
      feeding,
      { kind: "unknown", at: null },
      { kind: "endedUnconfirmed", at: reportedAt },
    ] as const) {
      const feeders = [feeder("Rowan", { order: confirmed, status: standing }), done("Larch")];
      expect(yardOrderSummary(feeders, page)).toBe("Paused: 1 of 2 feeders confirmed. Not confirmed: Rowan.");
    }
    const undone = { by: "restart", since: reportedAt, confirmedAt: reportedAt, portions: 0 } as const;
    const restarted = feeder("Rowan", { order: confirmed, status: paused, lost: undone });
    expect(yardOrderSummary([restarted, done("Larch")], page)).toMatch(/Not confirmed: Rowan/);
    const earlier = { ...done("Rowan"), pause: { ...done("Rowan").pause, status: undefined as never } };
    expect(yardOrderSummary([earlier, done("Larch")], page)).toMatch(/Not confirmed: Rowan/); // stored by an older build
  });

  it("names the feeders that are not included, or not any more", () => {
    const resumed = feeder("Elm", { order: order({ id: "order-own", kind: "resume", status: "sent" }) });
    expect(yardOrderSummary([done("Rowan"), done("Larch"), resumed, feeder("Hazel", { order: null })], page)).toBe(
      "Paused: all 2 feeders confirmed. Not included: Elm, Hazel.",
    );
  });

  it("shows the time of its data on an old page", () => {
    const old = { ...page, connection: "offline", asOf: now - 40 * 60_000 } as const;
    expect(yardOrderSummary([done("Rowan"), feeder("Larch")], old)).toBe(
      "At 13:40: paused: 1 of 2 feeders confirmed. Not confirmed: Larch.",
    );
  });

  it("exists for a resume too, and counts only feeders that feed", () => {
    const resume = order({ kind: "resume", status: "confirmed", answeredAt: reportedAt });
    const feeders = [feeder("Rowan", { order: resume }), feeder("Larch", { order: resume, status: paused })];
    expect(yardOrderSummary(feeders, page)).toBe("Feeding again: 1 of 2 feeders confirmed. Not confirmed: Larch.");
  });

  it("does not exist for two orders that were given one by one", () => {
    const own = feeder("Rowan", { order: order({ id: "order-own" }) });
    expect(yardOrderSummary([own, feeder("Larch", { order: null })], page)).toBeNull();
  });
});
