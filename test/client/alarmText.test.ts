import { describe, expect, it } from "vitest";
import { changeText, highestPriority, sortByUrgency } from "../../client/text/alarm.ts";
import { alarmBadgeText, alarmCountText, alarmStateText } from "../../client/text/feederAlarms.ts";
import type { AlarmView } from "../../server/contract/api.ts";
import { alarmViewFixture, feederViewFixture } from "./viewFixtures.ts";

const now = Date.parse("2026-11-25T13:20:00Z");
const urgent = alarmViewFixture(now);
const soon = alarmViewFixture(now, { fault: "foodLow", title: "food low", priority: "soon" });
const feeder = (name: string, alarms = [urgent].slice(1)) => feederViewFixture(now, { id: name, name, alarms });

describe("the count of a feeder's alarms", () => {
  it("counts a note as a note and not as an alarm", () => {
    const alarm = alarmViewFixture(0);
    const note = alarmViewFixture(0, { priority: "note" });
    const countText = (...standing: readonly AlarmView[]) => alarmCountText(standing);
    expect(countText()).toBe("No alarms");
    expect(countText(alarm)).toBe("One alarm");
    expect(countText(alarm, alarm)).toBe("2 alarms");
    expect(countText(note)).toBe("A note");
    expect(countText(note, note)).toBe("2 notes");
    expect(countText(alarm, note)).toBe("One alarm and a note");
    expect(countText(alarm, alarm, note, note)).toBe("2 alarms and 2 notes");
  });
});

describe("the list of feeders", () => {
  it("puts the most urgent first, and those alike by name", () => {
    const order = sortByUrgency([
      feeder("Well B"),
      feeder("Soon", [soon]),
      feeder("OK", [{ ...urgent, state: "acknowledged" }]),
      feeder("Urgent", [urgent]),
      feeder("Well A"),
      feeder("Shelved", [{ ...urgent, state: "shelved" }]),
    ]);
    expect(order.map((each) => each.name)).toEqual(["Urgent", "OK", "Soon", "Shelved", "Well A", "Well B"]);
  });

  it("shows a priority only for active alarms", () => {
    expect(highestPriority(feeder("a", [soon, urgent]))).toBe("urgent");
    expect(highestPriority(feeder("a", [{ ...urgent, state: "returnedUnacknowledged" }, soon]))).toBe("soon");
    expect(highestPriority(feeder("a", [{ ...urgent, state: "shelved" }]))).toBeNull();
  });
});

describe("the text of an alarm's state", () => {
  it("never asks to act where no action is needed", () => {
    expect(alarmBadgeText(urgent)).toBe("urgent: act now");
    expect(alarmBadgeText({ ...urgent, state: "acknowledged" })).toBe("urgent: act now");
    expect(alarmBadgeText({ ...urgent, state: "shelved" })).toBe("no notifications");
    expect(alarmBadgeText({ ...urgent, state: "suppressedByDesign" })).toBe("no notifications");
    expect(alarmBadgeText({ ...urgent, state: "returnedUnacknowledged" })).toBe("ended");
  });

  it("asks for a check and not for an action where it has ended but is latched", () => {
    for (const state of ["latchedUnacknowledged", "latchedAcknowledged"] as const) {
      expect(alarmBadgeText({ ...urgent, state })).toBe("check needed");
      expect(highestPriority(feeder("a", [{ ...urgent, state }]))).toBeNull();
    }
    expect(alarmStateText({ ...urgent, state: "latchedAcknowledged" }, now, "UTC")).toMatch(/check needed/);
  });

  it("names its cause", () => {
    const explained = { ...urgent, state: "suppressedByDesign" as const };
    const stateText = (explainedBy: string | null) => alarmStateText({ ...explained, explainedBy }, now, "UTC");
    expect(stateText("no reports")).toMatch(/; caused by “no reports”$/);
    expect(stateText(null)).toMatch(/; no notification for now$/);
  });

  it("always shows until when it is shelved", () => {
    const shelved = { ...urgent, state: "shelved" as const, shelvedUntil: "2026-11-26T06:00:00Z" };
    expect(alarmStateText(shelved, now, "Europe/Stockholm")).toBe("shelved until tomorrow at 07:00");
  });
});

describe("changes for a screen reader", () => {
  const before = feeder("Rowan");
  it("include an alarm that was raised and one that ended", () => {
    expect(changeText(before, { ...before, alarms: [urgent] })).toBe("Rowan: Tray jammed, urgent: act now.");
    expect(changeText({ ...before, alarms: [urgent] }, before)).toBe("Rowan: Tray jammed has ended.");
    expect(
      changeText(
        { ...before, alarms: [urgent] },
        { ...before, alarms: [{ ...urgent, state: "returnedUnacknowledged" }] },
      ),
    ).toBe("Rowan: Tray jammed has ended.");
  });

  it("include an alarm that ended and needs a check, and nothing more after the check", () => {
    const latched = { ...before, alarms: [{ ...urgent, state: "latchedUnacknowledged" as const }] };
    expect(changeText({ ...before, alarms: [urgent] }, latched)).toBe(
      "Rowan: Tray jammed has ended. Check the feeder.",
    );
    expect(changeText(latched, { ...before, alarms: [{ ...urgent, state: "latchedAcknowledged" }] })).toBe("");
    expect(changeText(latched, before)).toBe("");
  });

  it("show how far a pause has come", () => {
    const order = {
      id: "order-0001",
      kind: "pause" as const,
      status: "requested" as const,
      until: null,
      requestedAt: "2026-11-25T13:00:00Z",
      requestedBy: "Keeper",
      sentAt: null,
      answeredAt: null,
      problem: null,
    };
    const requested = { ...before, pause: { ...before.pause, order } };
    const confirmed = { ...before, pause: { ...before.pause, order: { ...order, status: "confirmed" as const } } };
    expect(changeText(before, requested)).toBe("Rowan: Pause requested.");
    expect(changeText(requested, confirmed)).toBe("Rowan: Pause confirmed by the feeder.");
    const at = (phase: "sent" | "refused" | "contradicted" | "ended") =>
      changeText(requested, { ...before, pause: { ...before.pause, order: { ...order, status: phase } } });
    expect(at("sent")).toBe("Rowan: Pause sent, not yet confirmed.");
    expect(at("refused")).toBe("Rowan: Pause refused by the feeder.");
    expect(at("contradicted")).toBe("Rowan: Pause not followed by the feeder.");
    expect(at("ended")).toBe("Rowan: Pause has ended.");
  });

  it("leave out a mere reading", () => {
    expect(changeText(before, { ...before, revision: 13, summary: "Rowan is well: 35 visits today." })).toBe("");
    expect(
      changeText({ ...before, alarms: [urgent] }, { ...before, alarms: [{ ...urgent, reason: "Four now." }] }),
    ).toBe("");
  });
});
