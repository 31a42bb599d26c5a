import { describe, expect, it } from "vitest";
import type { Alarm } from "../../../server/domain/alarms/alarm.ts";
import { alarmEvents, isRaise, standingAlarmEvents } from "../../../server/domain/alarms/alarmEvents.ts";
import {
  acknowledge,
  reset,
  returnToService,
  shelve,
  takeOutOfService,
} from "../../../server/domain/alarms/alarmResponses.ts";
import type { AlarmChange, AlarmState } from "../../../server/domain/alarms/alarmStates.ts";
import {
  type AlarmContext,
  advanceAlarm,
  alarmCheckAt,
  returnedMax,
  shelvedMax,
} from "../../../server/domain/alarms/alarmTransitions.ts";
import { currentFindings } from "../../../server/domain/alarms/currentFindings.ts";
import { type Fault, type FaultKind, type FaultRule, faultKinds, ruleOf } from "../../../server/domain/faults.ts";
import { newFeeder } from "../../../server/domain/feeder.ts";
import { updateHopperByRefill } from "../../../server/domain/hopper/refill.ts";
import { after, hours, type Instant, instantOf, minutes } from "../../../server/domain/instant.ts";
import { grams } from "../../../server/domain/units.ts";
import { now as digestNow, feederWithPortions } from "../digest/digestFeederFixture.ts";
import { rowanSettings } from "../rowan.ts";

const now = instantOf("2026-12-01T11:00:00Z");
const ago = (count: number): Instant => after(now, minutes(-count));
const kind = "trayJammed";
const rule: FaultRule = { ...ruleOf(kind), onDelay: minutes(2), offDelay: minutes(3) };
const of = { kind, rule, now } as const;
const finding = { reason: "Nothing fell.", evidence: [{ label: "runs", value: "4", at: null }], confidence: null };
const standing = { priority: "urgent", since: ago(60), finding, present: true } as const;
const raised = { ...standing, raisedAt: ago(50), notifiedPriority: "urgent", absentSince: null } as const;
const unacknowledged: Alarm = { ...raised, state: "unacknowledged" };
const acknowledged: Alarm = { ...raised, state: "acknowledged", acknowledgedAt: ago(40), acknowledgedBy: "Ada" };
const latched: Alarm = {
  ...raised,
  state: "latchedUnacknowledged",
  returnedAt: ago(30),
  presentSince: null,
  present: false,
};
const suppressed: Alarm = {
  ...{ ...standing, state: "suppressedByDesign", reason: "The feeder is paused.", explainedBy: null },
  raised: { raisedAt: ago(50), notifiedPriority: "urgent", acknowledged: null },
};

describe("a response to an alarm", () => {
  it("acknowledges only the raise, and no higher priority, than the person was notified of", () => {
    const state = (different: object) =>
      acknowledge(unacknowledged, { by: "Bo", raisedAt: null, ...different }, of).alarm?.state;
    expect(state({})).toBe("acknowledged");
    expect(state({ raisedAt: ago(50) })).toBe("acknowledged");
    expect(state({ raisedAt: ago(51) })).toBe("unacknowledged");
    expect(state({ notifiedPriority: "urgent" })).toBe("acknowledged");
    expect(state({ notifiedPriority: "soon" })).toBe("unacknowledged");
    const soon = { ...unacknowledged, notifiedPriority: "soon" } as Alarm;
    expect(acknowledge(soon, { by: "Bo", raisedAt: null, notifiedPriority: "urgent" }, of).alarm?.state).toBe(
      "acknowledged",
    );
  });

  it("is stored while the alarm is suppressed, once", () => {
    const first = acknowledge(suppressed, { by: "Bo", raisedAt: null }, of);
    expect(first.alarm).toMatchObject({ state: "suppressedByDesign", raised: { acknowledged: { at: now, by: "Bo" } } });
    expect(first.changes).toEqual([]);
    expect(acknowledge(first.alarm, { by: "Ada", raisedAt: null }, { ...of, now: after(now, minutes(1)) }).alarm).toBe(
      first.alarm,
    );
    const never = { ...suppressed, raised: null } as Alarm;
    expect(acknowledge(never, { by: "Bo", raisedAt: null }, of).alarm).toBe(never);
  });

  it("changes nothing where there is nothing to respond to", () => {
    for (const alarm of [null, acknowledged, { ...standing, state: "suspected" } as Alarm])
      expect(acknowledge(alarm, { by: "Bo", raisedAt: null }, of)).toEqual({ alarm, changes: [] });
    for (const alarm of [null, unacknowledged, latched]) expect(reset(alarm, of)).toEqual({ alarm, changes: [] });
    expect(returnToService(unacknowledged, of)).toEqual({ alarm: unacknowledged, changes: [] });
  });

  it("shelves until a time ahead, a week at most, and shelves again without a second change", () => {
    expect(shelve(unacknowledged, now, "Bo", of)).toEqual({ alarm: unacknowledged, changes: [] });
    const once = shelve(unacknowledged, after(now, minutes(1)), "Bo", of);
    expect(once.alarm).toMatchObject({
      state: "shelved",
      shelvedBy: "Bo",
      shelvedUntil: after(now, minutes(1)),
      latch: null,
    });
    const again = shelve(once.alarm, after(now, hours(999)), "Ada", of);
    expect(again.alarm).toMatchObject({ shelvedBy: "Ada", shelvedUntil: after(now, shelvedMax) });
    expect(again.changes).toEqual([]);
  });

  it("keeps a latch over shelf and service: whoever does that has not checked for damage", () => {
    const latching = { ...of, rule: { ...rule, latched: true } as FaultRule };
    const shelved = shelve(latched, after(now, hours(1)), "Bo", latching).alarm;
    expect(shelved).toMatchObject({ latch: { raisedAt: ago(50), acknowledged: null } });
    const out = takeOutOfService(latched, "At the workbench.", "Bo", latching);
    expect(out.alarm).toMatchObject({
      outBy: "Bo",
      outReason: "At the workbench.",
      outSince: now,
      latch: { raisedAt: ago(50) },
    });
    expect(returnToService(out.alarm, latching).alarm).toMatchObject({
      state: "latchedUnacknowledged",
      returnedAt: now,
      presentSince: null,
    });
    const present = out.alarm === null ? null : { ...out.alarm, present: true };
    expect(returnToService(present, latching).alarm).toMatchObject({ presentSince: ago(60) });
    expect(takeOutOfService(out.alarm, "Again.", "Ada", latching)).toEqual({ alarm: out.alarm, changes: [] });
    expect(shelve(out.alarm, after(now, hours(1)), "Ada", latching)).toEqual({ alarm: out.alarm, changes: [] });
  });

  it("brings an alarm back as suspected since its fault began, or ends it", () => {
    const out = takeOutOfService(unacknowledged, "", "Bo", of).alarm;
    expect(returnToService(out, of).alarm).toMatchObject({ state: "suspected", since: ago(60) });
    expect(returnToService(out && { ...out, present: false }, of).alarm).toBeNull();
  });
});

describe("the check of an alarm", () => {
  const context = (different: Partial<AlarmContext> = {}): AlarmContext => ({
    ...of,
    suppressed: null,
    priority: "urgent",
    ...different,
  });
  const fault: Fault = { kind, reason: "Four runs, and nothing fell.", evidence: [], confidence: null };

  it("comes when time alone changes its state", () => {
    const at = (alarm: object) => alarmCheckAt({ ...standing, ...alarm } as unknown as Alarm, rule);
    expect(at({ state: "suspected", since: ago(1) })).toBe(after(now, minutes(1)));
    expect(at(unacknowledged)).toBeNull();
    expect(at({ ...unacknowledged, absentSince: ago(1) })).toBe(after(now, minutes(2)));
    expect(at({ ...acknowledged, absentSince: ago(1) })).toBe(after(now, minutes(2)));
    const returned = { state: "returnedUnacknowledged", returnedAt: ago(10), presentSince: null };
    expect(at(returned)).toBe(after(ago(10), returnedMax));
    expect(at({ ...returned, presentSince: ago(1) })).toBe(after(now, minutes(1)));
    expect(at(latched)).toBeNull();
    expect(at({ ...latched, presentSince: ago(1) })).toBe(after(now, minutes(1)));
    expect(at({ state: "shelved", shelvedUntil: after(now, hours(1)) })).toBe(after(now, hours(1)));
    expect(at(suppressed)).toBeNull();
    expect(at({ state: "outOfService" })).toBeNull();
  });

  it("replaces the finding by the newest, and notes when the fault was first absent", () => {
    expect(advanceAlarm(unacknowledged, fault, context()).alarm).toMatchObject({
      finding: { reason: fault.reason },
      absentSince: null,
    });
    expect(advanceAlarm(unacknowledged, null, context()).alarm).toMatchObject({
      present: false,
      absentSince: now,
      finding: { reason: "Nothing fell." },
    });
    const absent = { ...unacknowledged, present: false, absentSince: ago(2) } as Alarm;
    expect(advanceAlarm(absent, null, context()).alarm).toMatchObject({ state: "unacknowledged", absentSince: ago(2) });
    expect(advanceAlarm(absent, fault, context()).alarm).toMatchObject({ present: true, absentSince: null });
    expect(advanceAlarm({ ...absent, absentSince: ago(3) } as Alarm, null, context()).alarm).toMatchObject({
      state: "returnedUnacknowledged",
      returnedAt: now,
    });
  });

  it("asks again only where the priority rises above what people were notified of", () => {
    const soon = { ...acknowledged, notifiedPriority: "soon", priority: "soon" } as Alarm;
    expect(advanceAlarm(soon, fault, context({ priority: "urgent" })).alarm).toMatchObject({
      state: "unacknowledged",
      notifiedPriority: "urgent",
      raisedAt: ago(50),
    });
    expect(advanceAlarm(soon, fault, context({ priority: "soon" })).alarm?.state).toBe("acknowledged");
    expect(advanceAlarm(acknowledged, fault, context({ priority: "soon" })).alarm).toMatchObject({
      state: "acknowledged",
      notifiedPriority: "urgent",
    });
  });

  it("keeps the higher priority of an open latch, and not of an acknowledged one", () => {
    const again = { ...latched, presentSince: ago(2) } as Alarm;
    const priority = (alarm: Alarm) => {
      const next = advanceAlarm(alarm, fault, context({ priority: "soon" })).alarm;
      return next?.state === "unacknowledged" ? next.notifiedPriority : null;
    };
    expect(priority(again)).toBe("urgent");
    expect(
      priority({ ...again, state: "latchedAcknowledged", acknowledgedAt: ago(9), acknowledgedBy: "Ada" } as Alarm),
    ).toBe("soon");
  });
});

describe("the events of an alarm", () => {
  const change = (from: AlarmState, to: AlarmState, different: Partial<AlarmChange> = {}): AlarmChange => ({
    ...{ fault: kind, priority: "urgent", from, to, at: now, reason: "Nothing fell.", present: true, ...different },
  });
  const context = { settings: { name: "Rowan", practice: false }, explains: [] as FaultKind[] };
  const body = (explains: FaultKind[], reason = "Nothing fell.") => {
    const [event] = alarmEvents(
      { ...context, explains },
      [change("suspected", "unacknowledged", { reason })],
      null,
      unacknowledged,
    );
    return event?.kind === "raised" ? event.body : null;
  };
  const { advice } = ruleOf(kind);

  it("give the reason, then the advice", () => {
    expect(body([])).toBe(`Nothing fell. ${advice}`);
  });

  it("name three faults that it explains, and count the others", () => {
    const names = (kinds: FaultKind[]) => body(kinds)?.match(/Also includes: (.*?)\./)?.[1];
    const [a, b, c, d] = ["foodLow", "chuteBlind", "scaleSilent", "iceLock"] as const;
    const title = (fault: FaultKind) => ruleOf(fault).title;
    expect(names([a])).toBe(title(a));
    expect(names([a, b, c])).toBe(`${title(a)}, ${title(b)}, ${title(c)}`);
    expect(names([a, b, c, d])).toBe(`${title(a)}, ${title(b)}, ${title(c)} and 1 more`);
  });

  it("shorten the reason and never the advice, within 400 characters", () => {
    const space = 400 - advice.length - 1;
    expect(body([], "x".repeat(space))).toBe(`${"x".repeat(space)} ${advice}`);
    expect(body([], "x".repeat(space + 1))).toBe(`${"x".repeat(space - 1)}… ${advice}`);
    expect(body([], `${"x".repeat(space - 3)}     yy`)).toBe(`${"x".repeat(space - 3)}… ${advice}`);
  });

  it("are of the same episode for an hour after its end", () => {
    const returned = (returnedAt: Instant) =>
      ({ ...standing, state: "returnedUnacknowledged", raisedAt: ago(99), returnedAt, presentSince: null }) as Alarm;
    const again = (returnedAt: Instant) =>
      alarmEvents(
        context,
        [change("returnedUnacknowledged", "unacknowledged")],
        returned(returnedAt),
        unacknowledged,
      )[0];
    expect(again(ago(59))).toMatchObject({ kind: "raised", sameEpisode: true });
    expect(again(ago(60))).toMatchObject({ kind: "raised", sameEpisode: false });
  });

  it("say of a latched alarm that it has ended and needs a check, and of another one only that it has ended", () => {
    const end = (fault: FaultKind, from: AlarmState, to: AlarmState) =>
      alarmEvents(
        context,
        [change(from, to, { fault })],
        acknowledged,
        to === "normal" ? null : ({ ...latched, state: to, acknowledgedAt: now, acknowledgedBy: "Bo" } as Alarm),
      );
    const latching = faultKinds.find((fault) => ruleOf(fault).latched) as FaultKind;
    expect(end(latching, "acknowledged", "latchedAcknowledged")).toMatchObject([
      { kind: "returned", title: "Rowan: check needed" },
    ]);
    expect(end(latching, "latchedUnacknowledged", "latchedAcknowledged").map((event) => event.kind)).toEqual([
      "acknowledged",
      "returned",
    ]);
    expect(end(latching, "shelved", "latchedAcknowledged")).toEqual([]);
    expect(end(latching, "outOfService", "latchedAcknowledged")).toEqual([]);
    expect(end(kind, "acknowledged", "normal")).toMatchObject([
      { kind: "returned", title: "Rowan: tray jammed ended", body: "Tray jammed has ended." },
    ]);
    expect(end(kind, "suppressedByDesign", "normal")).toEqual([]);
  });

  it("are none for a note, nor for an end of what nobody was notified of", () => {
    const note = { ...unacknowledged, notifiedPriority: "note" } as Alarm;
    expect(alarmEvents(context, [change("suspected", "unacknowledged")], null, note)).toEqual([]);
    expect(alarmEvents(context, [change("unacknowledged", "returnedUnacknowledged")], note, null)).toEqual([]);
    expect(
      alarmEvents(context, [change("suspected", "normal")], { ...standing, state: "suspected" } as Alarm, null),
    ).toEqual([]);
  });

  it("rise from a note as a first notification, from a lower priority as a worse one", () => {
    const worse = (notifiedPriority: string) =>
      alarmEvents(
        context,
        [change("acknowledged", "unacknowledged")],
        { ...acknowledged, notifiedPriority } as Alarm,
        unacknowledged,
      );
    expect(worse("soon")).toMatchObject([{ kind: "worsened", at: now, raisedAt: ago(50) }]);
    expect(worse("note")).toMatchObject([{ kind: "raised", at: ago(50), sameEpisode: false }]);
    expect(worse("urgent")).toEqual([]);
  });

  it("name who shelved it or took it out of service, and the reason of a suppression", () => {
    const text = (to: Alarm, from: AlarmState = "unacknowledged") => {
      const [event] = alarmEvents(context, [change(from, to.state)], unacknowledged, to);
      return event?.kind === "suppressed" ? event.text : null;
    };
    const shelved = shelve(unacknowledged, after(now, hours(1)), "Bo", of).alarm as Alarm;
    const out = takeOutOfService(unacknowledged, "At the workbench.", "Bo", of).alarm as Alarm;
    expect(text(shelved)).toBe("Shelved by Bo.");
    expect(text(out)).toBe("Out of service (Bo): At the workbench.");
    expect(text(suppressed)).toBe("The feeder is paused.");
    for (const from of ["acknowledged", "latchedUnacknowledged"] as const) expect(text(shelved, from)).not.toBeNull();
    for (const from of ["suspected", "latchedAcknowledged", "suppressedByDesign"] as const)
      expect(text(shelved, from)).toBeNull();
  });

  it("are those of a raise only where nobody knows of it yet", () => {
    expect(isRaise(change("suspected", "unacknowledged"), null)).toBe(true);
    expect(isRaise(change("suppressedByDesign", "unacknowledged"), suppressed)).toBe(false);
    expect(isRaise(change("suppressedByDesign", "unacknowledged"), { ...suppressed, raised: null } as Alarm)).toBe(
      true,
    );
    expect(isRaise(change("acknowledged", "unacknowledged"), acknowledged)).toBe(false);
    expect(isRaise(change("unacknowledged", "unacknowledged"), unacknowledged)).toBe(false);
    expect(isRaise(change("unacknowledged", "acknowledged"), unacknowledged)).toBe(false);
  });

  it("start a lost escalation again, of what nobody has acknowledged and is no note", () => {
    const events = (alarm: Alarm) => standingAlarmEvents({ alarms: { [kind]: alarm }, settings: rowanSettings });
    expect(events(unacknowledged)).toMatchObject([
      { kind: "raised", fault: kind, at: ago(50), sameEpisode: true, title: "Rowan: tray jammed" },
    ]);
    expect(events(latched)).toMatchObject([{ body: `Ended. Before: Nothing fell. ${advice}` }]);
    expect(events(acknowledged)).toEqual([]);
    expect(events({ ...unacknowledged, notifiedPriority: "note" } as Alarm)).toEqual([]);
  });
});

describe("the present reason of an alarm", () => {
  const never = newFeeder(rowanSettings, now);
  const reason = (alarm: object, state = never, fault: FaultKind = kind, at = now) =>
    currentFindings(state, at)(fault, { ...unacknowledged, ...alarm } as Alarm).reason;

  it("is of a fault that can't be observed now when it was last observed", () => {
    expect(reason({})).toBe("When last known: Nothing fell.");
    expect(reason({}, feederWithPortions("Rowan"), kind, digestNow)).toBe(
      "At the last report, today 07:30: Nothing fell.",
    );
  });

  it("is of a present fault as it is now", () => {
    const settings = feederWithPortions("Rowan").settings;
    const empty = {
      ...feederWithPortions("Rowan"),
      hopper: updateHopperByRefill(
        feederWithPortions("Rowan").hopper,
        { at: digestNow, what: { kind: "level", grams: grams(30) } },
        settings,
      ),
    };
    expect(reason({}, empty, "foodLow", digestNow)).not.toContain("Nothing fell.");
  });

  it("is of one that has ended its end and its last reason", () => {
    expect(reason({ present: false, absentSince: ago(60) })).toBe("Ended today 11:00. Before: Nothing fell.");
    expect(reason({ present: false, absentSince: null })).toBe("Ended. Before: Nothing fell.");
  });

  it("is of one that was shelved before it was ever detected just that", () => {
    const shelved = shelve(null, after(now, hours(1)), "Bo", of).alarm as Alarm;
    expect(currentFindings(never, now)(kind, shelved)).toEqual({
      reason: "Shelved before it was detected.",
      evidence: [],
      confidence: null,
    });
  });
});
