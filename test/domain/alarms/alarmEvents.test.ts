import { describe, expect, it } from "vitest";
import type { Alarm } from "../../../server/domain/alarms/alarm.ts";
import { alarmEvents } from "../../../server/domain/alarms/alarmEvents.ts";
import { acknowledge, shelve, takeOutOfService } from "../../../server/domain/alarms/alarmResponses.ts";
import { type AlarmContext, advanceAlarm } from "../../../server/domain/alarms/alarmTransitions.ts";
import { type FaultKind, faultKinds, ruleOf } from "../../../server/domain/faults.ts";
import { after, hours, instantOf, minutes } from "../../../server/domain/instant.ts";
import { hiding } from "./randomAlarms.ts";

const start = instantOf("2026-12-01T06:00:00Z");
const rowan = { settings: { name: "Rowan", practice: false }, explains: [] };
const context = (kind: FaultKind, change: Partial<AlarmContext> = {}): AlarmContext => ({
  kind,
  rule: { ...ruleOf(kind), onDelay: minutes(0), offDelay: minutes(0) },
  now: start,
  suppressed: null,
  priority: ruleOf(kind).priority,
  ...change,
});
const raise = (kind: FaultKind, spoken: Parameters<typeof alarmEvents>[0] = rowan, reason = "Nothing fell.") => {
  const { alarm, changes } = advanceAlarm(null, { kind, reason, evidence: [], confidence: null }, context(kind));
  return { alarm: alarm as Alarm, events: alarmEvents(spoken, changes, null, alarm) };
};

describe("the events of an alarm", () => {
  it("states what is wrong, the evidence, and what to do", () => {
    expect(raise("trayJammed").events).toEqual([
      {
        kind: "raised",
        fault: "trayJammed",
        priority: "urgent",
        at: start,
        title: "Rowan: tray jammed",
        body: `Nothing fell. ${ruleOf("trayJammed").advice}`,
        sameEpisode: false,
      },
    ]);
  });

  it("marks a practice feeder as one", () => {
    const larch = { settings: { name: "Larch", practice: true }, explains: [] };
    expect(raise("trayJammed", larch).events[0]).toMatchObject({ title: "Practice – Larch: tray jammed" });
  });

  it("names the faults that the alarm includes", () => {
    const cause = { ...rowan, explains: ["motorNotTurning", "depositUnpaid"] as const };
    expect(raise("supplyWeak", cause).events[0]).toMatchObject({
      body: `Nothing fell. Also includes: motor not turning, deposit without a portion. ${ruleOf("supplyWeak").advice}`,
    });
  });

  it("stays within 400 characters, and cuts the reason before the advice and before what else is wrong", () => {
    const everything = { ...rowan, explains: faultKinds };
    for (const kind of faultKinds.filter((one) => ruleOf(one).priority !== "note")) {
      const [event] = raise(kind, everything, "word ".repeat(200)).events;
      const body = event?.kind === "raised" ? event.body : "";
      expect(body.length).toBeLessThanOrEqual(400);
      expect(body).toMatch(/ Also includes: [^.]* and \d+ more\. /);
      expect(body.endsWith(ruleOf(kind).advice)).toBe(true);
      expect(body.startsWith("word word word")).toBe(true);
    }
  });

  it("is nothing where it is only a note", () => {
    for (const kind of faultKinds.filter((one) => ruleOf(one).priority === "note")) {
      const { alarm, events } = raise(kind);
      expect(events).toEqual([]);
      const seen = acknowledge(alarm, { by: "Ada", raisedAt: null }, context(kind));
      expect(alarmEvents(rowan, seen.changes, alarm, seen.alarm)).toEqual([]);
      const gone = advanceAlarm(seen.alarm, null, context(kind, { now: after(start, hours(3)) }));
      expect(alarmEvents(rowan, gone.changes, seen.alarm, gone.alarm)).toEqual([]);
    }
  });

  it("reports the end, and asks for a check where the fault may have caused damage", () => {
    const over = (kind: FaultKind) => {
      const { alarm } = raise(kind);
      const seen = acknowledge(alarm, { by: "Ada", raisedAt: null }, context(kind)).alarm;
      const { alarm: gone, changes } = advanceAlarm(seen, null, context(kind, { now: after(start, hours(3)) }));
      return alarmEvents(rowan, changes, seen, gone);
    };
    expect(over("trayJammed")).toMatchObject([
      { kind: "returned", title: "Rowan: tray jammed ended", body: "Tray jammed has ended." },
    ]);
    const [event] = over("batteryFreezing");
    expect(event).toMatchObject({ kind: "returned", title: "Rowan: check needed" });
    expect(event).toHaveProperty(
      "body",
      expect.stringMatching(/^Battery near freezing has ended\. .* press “I have checked”\.$/),
    );
  });

  it("name who acknowledged, shelved or took it out of service, and the reason of a suppression", () => {
    const { alarm } = raise("trayJammed");
    const of = context("trayJammed");
    const eventsOf = (step: { alarm: Alarm | null; changes: Parameters<typeof alarmEvents>[1] }) =>
      alarmEvents(rowan, step.changes, alarm, step.alarm);
    expect(eventsOf(acknowledge(alarm, { by: "Ada", raisedAt: null }, of))).toMatchObject([
      { kind: "acknowledged", by: "Ada" },
    ]);
    expect(eventsOf(shelve(alarm, after(start, hours(1)), "Ada", of))).toMatchObject([{ text: "Shelved by Ada." }]);
    expect(eventsOf(takeOutOfService(alarm, "The tray is off.", "Bo", of))).toMatchObject([
      { kind: "suppressed", text: "Out of service (Bo): The tray is off." },
    ]);
    const hidden = advanceAlarm(alarm, null, { ...of, suppressed: hiding.cause });
    expect(eventsOf(hidden)).toMatchObject([{ kind: "suppressed", text: "Caused by: motor stalled." }]);
  });
});
