import { describe, expect, it } from "vitest";
import { calls, callWords, countedWords, mostUrgentFirst, newsWords, phaseWords } from "../../client/words/alarm.ts";
import type { AlarmView } from "../../server/contract/api.ts";
import { alarmView, feederView } from "./cannedViews.ts";

const now = Date.parse("2026-11-25T13:20:00Z");
const urgent = alarmView(now);
const soon = alarmView(now, { fault: "foodLow", title: "food low", priority: "soon" });
const feeder = (name: string, alarms = [urgent].slice(1)) => feederView(now, { id: name, name, alarms });

describe("what stands at a feeder, counted", () => {
  it("calls a note a note, and no alarm", () => {
    const alarm = alarmView(0);
    const note = alarmView(0, { priority: "note" });
    const said = (...standing: readonly AlarmView[]) => countedWords(standing);
    expect(said()).toBe("No alarm stands");
    expect(said(alarm)).toBe("One alarm");
    expect(said(alarm, alarm)).toBe("2 alarms");
    expect(said(note)).toBe("A note");
    expect(said(note, note)).toBe("2 notes");
    expect(said(alarm, note)).toBe("One alarm and a note");
    expect(said(alarm, alarm, note, note)).toBe("2 alarms and 2 notes");
  });
});

describe("the list of feeders", () => {
  it("puts the most urgent first, and those alike by name", () => {
    const order = mostUrgentFirst([
      feeder("Well B"),
      feeder("Soon", [soon]),
      feeder("Seen", [{ ...urgent, phase: "acknowledged" }]),
      feeder("Urgent", [urgent]),
      feeder("Well A"),
      feeder("Shelved", [{ ...urgent, phase: "shelved" }]),
    ]);
    expect(order.map((each) => each.name)).toEqual(["Urgent", "Seen", "Soon", "Shelved", "Well A", "Well B"]);
  });

  it("calls the keeper only for what still stands", () => {
    expect(calls(feeder("a", [soon, urgent]))).toBe("urgent");
    expect(calls(feeder("a", [{ ...urgent, phase: "returnedUnacknowledged" }, soon]))).toBe("soon");
    expect(calls(feeder("a", [{ ...urgent, phase: "shelved" }]))).toBeNull();
  });
});

describe("an alarm's state in words", () => {
  it("never says to act on what doesn't call the keeper", () => {
    expect(callWords(urgent)).toBe("act now");
    expect(callWords({ ...urgent, phase: "acknowledged" })).toBe("act now");
    expect(callWords({ ...urgent, phase: "shelved" })).toBe("kept quiet");
    expect(callWords({ ...urgent, phase: "suppressedByDesign" })).toBe("kept quiet");
    expect(callWords({ ...urgent, phase: "returnedUnacknowledged" })).toBe("over");
  });

  it("asks for a look and not for an act where it is over but latched", () => {
    for (const phase of ["latchedUnacknowledged", "latchedAcknowledged"] as const) {
      expect(callWords({ ...urgent, phase })).toBe("look at it");
      expect(calls(feeder("a", [{ ...urgent, phase }]))).toBeNull();
    }
    expect(phaseWords({ ...urgent, phase: "latchedAcknowledged" }, now, "UTC")).toMatch(/nobody has looked yet/);
  });

  it("names what explains it", () => {
    const explained = { ...urgent, phase: "suppressedByDesign" as const };
    const say = (explainedBy: string | null) => phaseWords({ ...explained, explainedBy }, now, "UTC");
    expect(say("feeder silent")).toMatch(/; explained by “feeder silent”$/);
    expect(say(null)).toMatch(/; not told of for now$/);
  });

  it("always says until when it is shelved", () => {
    const shelved = { ...urgent, phase: "shelved" as const, shelvedUntil: "2026-11-26T06:00:00Z" };
    expect(phaseWords(shelved, now, "Europe/Stockholm")).toBe("shelved until tomorrow at 07:00");
  });
});

describe("news read out to the keeper", () => {
  const before = feeder("Rowan");
  it("tells of an alarm that came and of one that went", () => {
    expect(newsWords(before, { ...before, alarms: [urgent] })).toBe("Rowan: Tray jammed, act now.");
    expect(newsWords({ ...before, alarms: [urgent] }, before)).toBe("Rowan: Tray jammed is over.");
    expect(
      newsWords(
        { ...before, alarms: [urgent] },
        { ...before, alarms: [{ ...urgent, phase: "returnedUnacknowledged" }] },
      ),
    ).toBe("Rowan: Tray jammed is over.");
  });

  it("tells that one is over though somebody must look, and not once more when that was done", () => {
    const latched = { ...before, alarms: [{ ...urgent, phase: "latchedUnacknowledged" as const }] };
    expect(newsWords({ ...before, alarms: [urgent] }, latched)).toBe("Rowan: Tray jammed is over, but look at it.");
    expect(newsWords(latched, { ...before, alarms: [{ ...urgent, phase: "latchedAcknowledged" }] })).toBe("");
    expect(newsWords(latched, before)).toBe("");
  });

  it("tells how far a pause has come", () => {
    const order = {
      id: "order-0001",
      kind: "pause" as const,
      phase: "asked" as const,
      until: null,
      askedAt: "2026-11-25T13:00:00Z",
      askedBy: "Keeper",
      sentAt: null,
      answeredAt: null,
      problem: null,
    };
    const asked = { ...before, pause: { ...before.pause, order } };
    const confirmed = { ...before, pause: { ...before.pause, order: { ...order, phase: "confirmed" as const } } };
    expect(newsWords(before, asked)).toBe("Rowan: Pause asked.");
    expect(newsWords(asked, confirmed)).toBe("Rowan: Pause confirmed by the feeder.");
    const at = (phase: "sent" | "refused" | "contradicted" | "ended") =>
      newsWords(asked, { ...before, pause: { ...before.pause, order: { ...order, phase } } });
    expect(at("sent")).toBe("Rowan: Pause sent, not yet confirmed.");
    expect(at("refused")).toBe("Rowan: Pause refused by the feeder.");
    expect(at("contradicted")).toBe("Rowan: Pause not kept by the feeder.");
    expect(at("ended")).toBe("Rowan: Pause is over, its time has ended.");
  });

  it("keeps quiet about a mere reading", () => {
    expect(newsWords(before, { ...before, revision: 13, words: "Rowan is well: 35 visits today." })).toBe("");
    expect(
      newsWords({ ...before, alarms: [urgent] }, { ...before, alarms: [{ ...urgent, reason: "Four now." }] }),
    ).toBe("");
  });
});
