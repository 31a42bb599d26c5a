import { describe, expect, it } from "vitest";
import {
  type AlarmResponse,
  advanceAlarms,
  faultsByKind,
  respondToAlarm,
} from "../../../server/domain/alarms/advanceAlarms.ts";
import type { Alarm } from "../../../server/domain/alarms/alarm.ts";
import { alarmEvents } from "../../../server/domain/alarms/alarmEvents.ts";
import type { AlarmState } from "../../../server/domain/alarms/alarmStates.ts";
import { advanceAlarm } from "../../../server/domain/alarms/alarmTransitions.ts";
import type { Effect } from "../../../server/domain/effects.ts";
import { type Fault, type FaultKind, faultKinds, ruleOf } from "../../../server/domain/faults.ts";
import { after, hours, type Instant, instantOf, minutes } from "../../../server/domain/instant.ts";
import { rowanSettings } from "../rowan.ts";

const now = instantOf("2026-12-01T11:00:00Z");
const ago = (count: number): Instant => after(now, minutes(-count));
const kind = "trayJammed";
const finding = { reason: "Nothing fell.", evidence: [], confidence: null };
const raised = {
  ...{ priority: "urgent", since: ago(60), finding, present: true },
  ...{ raisedAt: ago(50), notifiedPriority: "urgent", absentSince: null },
} as const;
const alarmIn = (state: AlarmState, different: object = {}): Alarm =>
  ({ ...raised, state, ...different }) as unknown as Alarm;
const latched = alarmIn("latchedAcknowledged", {
  acknowledgedAt: ago(9),
  acknowledgedBy: "Ada",
  returnedAt: ago(30),
  presentSince: null,
  present: false,
});

describe("a keeper's response to an alarm of a feeder", () => {
  const respond = (alarm: Alarm, fact: object) => {
    const effects: Effect[] = [];
    const alarms = respondToAlarm(
      { alarms: { [kind]: alarm, foodLow: alarm }, settings: rowanSettings },
      { fault: kind, by: "Bo", ...fact } as AlarmResponse,
      now,
      effects,
    );
    const logged = effects.flatMap((effect) =>
      effect.kind === "alarmChanged" ? [`${effect.change.from} ${effect.change.to}`] : [],
    );
    const events = effects.flatMap((effect) => (effect.kind === "alarmEvent" ? [effect.event.kind] : []));
    return { state: alarms[kind]?.state, other: alarms.foodLow, logged, events, alarms };
  };

  it.each<[string, Alarm, object, AlarmState | undefined, string[]]>([
    [
      "acknowledges",
      alarmIn("unacknowledged"),
      { kind: "alarmAcknowledged", raisedAt: null },
      "acknowledged",
      ["acknowledged"],
    ],
    [
      "shelves",
      alarmIn("unacknowledged"),
      { kind: "alarmShelved", until: after(now, hours(1)) },
      "shelved",
      ["suppressed"],
    ],
    ["resets", latched, { kind: "alarmReset" }, undefined, []],
    [
      "takes out of service",
      alarmIn("unacknowledged"),
      { kind: "alarmTakenOutOfService", reason: "At the workbench." },
      "outOfService",
      ["suppressed"],
    ],
    [
      "returns to service",
      alarmIn("outOfService", { latch: null }),
      { kind: "alarmReturnedToService" },
      "suspected",
      [],
    ],
  ])("%s it, with the change for the log and the event for its recipients", (_, alarm, fact, state, events) => {
    const response = respond(alarm, fact);
    expect(response.state).toBe(state);
    expect(response.logged).toEqual([`${alarm.state} ${state ?? "normal"}`]);
    expect(response.events).toEqual(events);
    expect(response.other).toBe(alarm); // only this fault's
  });

  it("removes an alarm that is over, and leaves all as it is where nothing changes", () => {
    expect(Object.keys(respond(latched, { kind: "alarmReset" }).alarms)).toEqual(["foodLow"]);
    const same = respond(alarmIn("acknowledged", { acknowledgedBy: "Ada", acknowledgedAt: ago(9) }), {
      kind: "alarmReset",
    });
    expect([same.state, same.logged, same.events]).toEqual(["acknowledged", [], []]);
  });
});

describe("a check of all alarms", () => {
  const fault = (of: Fault["kind"]): Fault => ({ kind: of, reason: "Seen.", evidence: [], confidence: null });
  const check = (faults: readonly Fault[], alarms = {}, different: object = {}) => {
    const effects: Effect[] = [];
    const situation = {
      faults: faultsByKind(faults),
      alarms,
      paused: false,
      placement: "inGarden",
      now,
      ...different,
    } as const;
    return { alarms: advanceAlarms({ alarms, settings: rowanSettings }, situation, effects), effects };
  };

  it("begins an alarm for each fault, and suppresses what another one explains", () => {
    const explained = faultKinds.find((of) => ruleOf(of).explainedBy.includes("feederSilent")) as FaultKind;
    const { alarms } = check([fault("feederSilent"), fault(explained)]);
    expect(alarms.feederSilent?.state).not.toBe("suppressedByDesign");
    expect(alarms[explained]).toMatchObject({ state: "suppressedByDesign", explainedBy: "feederSilent" });
    expect(check([]).alarms).toEqual({});
  });

  it("ends an alarm whose fault has been absent for long enough, and keeps it until it is acknowledged", () => {
    const absent = { absentSince: ago(24 * 60), present: false };
    const acknowledged = alarmIn("acknowledged", { ...absent, acknowledgedAt: ago(9), acknowledgedBy: "Ada" });
    expect(check([], { trayJammed: acknowledged }).alarms.trayJammed).toBeUndefined();
    const { alarms, effects } = check([], { trayJammed: alarmIn("unacknowledged", absent) });
    expect(alarms.trayJammed?.state).toBe("returnedUnacknowledged");
    expect(effects).toMatchObject([{ kind: "alarmChanged" }, { kind: "alarmEvent", event: { kind: "returned" } }]);
  });

  it("suppresses by a pause, the workshop or storage, with the reason", () => {
    const reason = (different: object) => {
      const alarm = check([fault("trayJammed")], {}, different).alarms.trayJammed;
      return alarm?.state === "suppressedByDesign" ? alarm.reason : null;
    };
    expect(reason({})).toBeNull();
    expect([reason({ paused: true }), reason({ placement: "onBench" }), reason({ placement: "putAway" })]).toEqual([
      ...["The feeder is paused.", "The feeder is in the workshop.", "The feeder is in storage."],
    ]);
  });

  it("leaves an alarm as it is where nothing is new", () => {
    const context = {
      kind,
      rule: { ...ruleOf(kind), offDelay: minutes(3) },
      now,
      suppressed: null,
      priority: "urgent",
    } as const;
    expect(advanceAlarm(latched, null, context).alarm).toBe(latched);
    const shelved = alarmIn("shelved", {
      present: false,
      absentSince: ago(5),
      shelvedUntil: after(now, hours(1)),
      latch: null,
    });
    expect(advanceAlarm(shelved, { ...finding, kind }, context).alarm).toMatchObject({
      state: "shelved",
      present: true,
      absentSince: null,
      since: now,
    });
  });

  it("has no event for an alarm that comes back acknowledged, or whose state nobody was notified of", () => {
    const context = { settings: { name: "Rowan", practice: false }, explains: [] };
    const change = (from: AlarmState, to: AlarmState) =>
      ({ fault: kind, priority: "urgent", from, to, at: now, reason: "", present: true }) as const;
    const acknowledged = alarmIn("acknowledged", { acknowledgedAt: ago(9), acknowledgedBy: "Ada" });
    expect(alarmEvents(context, [change("suppressedByDesign", "acknowledged")], acknowledged, acknowledged)).toEqual(
      [],
    );
    expect(
      alarmEvents(context, [change("latchedAcknowledged", "suspected")], acknowledged, alarmIn("suspected")),
    ).toEqual([]);
    expect(alarmEvents(context, [change("unacknowledged", "shelved")], acknowledged, null)).toEqual([]);
  });
});
