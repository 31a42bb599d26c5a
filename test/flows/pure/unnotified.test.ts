import { describe, expect, it } from "vitest";
import type { AlarmChange, AlarmState } from "../../../server/domain/alarms/alarmStates.ts";
import { after, instantOf, minutes } from "../../../server/domain/instant.ts";
import type { AlarmEvent } from "../../../server/domain/notification/escalation.ts";
import { markUnnotified, unnotifiedText } from "../../../server/flows/pure/unnotified.ts";

const at = instantOf("2026-12-01T11:00:00Z");
const change = (from: AlarmState, to: AlarmState, different: Partial<AlarmChange> = {}): AlarmChange => ({
  ...{ fault: "foodOut", priority: "urgent", from, to, at, reason: "Nothing fell.", present: true, ...different },
});
const marked = (
  changes: readonly AlarmChange[],
  events: readonly AlarmEvent[] = [],
  ended: Parameters<typeof markUnnotified>[2] = [],
) => markUnnotified(changes, events, ended).map(({ reason }) => reason.endsWith(unnotifiedText));

describe("an alarm that ended before anybody was notified", () => {
  it("has that in the reason of the change that ended it", () => {
    const end = change("unacknowledged", "returnedUnacknowledged");
    const [of] = markUnnotified([end], [], [{ fault: "foodOut", at }]);
    expect(of?.reason).toBe(`Nothing fell. ${unnotifiedText}`);
    expect(markUnnotified([{ ...end, reason: "" }], [], [{ fault: "foodOut", at }])[0]?.reason).toBe(unnotifiedText);
  });

  it("is marked by fault and moment, at the change that ended it and no other", () => {
    const ended = [{ fault: "foodOut", at }] as const;
    expect(marked([change("unacknowledged", "acknowledged")], [], ended)).toEqual([true]);
    expect(marked([change("suspected", "unacknowledged")], [], ended)).toEqual([false]);
    expect(marked([change("shelved", "latchedUnacknowledged")], [], ended)).toEqual([false]);
    expect(marked([change("acknowledged", "acknowledged")], [], ended)).toEqual([false]);
    expect(marked([change("unacknowledged", "normal", { fault: "foodLow" })], [], ended)).toEqual([false]);
    expect(marked([change("unacknowledged", "normal", { at: after(at, minutes(1)) })], [], ended)).toEqual([false]);
  });

  it("was raised and over within one check, where its raise has no event", () => {
    const both = [change("suspected", "unacknowledged"), change("unacknowledged", "suppressedByDesign")];
    expect(marked(both)).toEqual([false, true]);
    const event = { kind: "raised", fault: "foodOut", at } as AlarmEvent;
    expect(marked(both, [event])).toEqual([false, false]);
    expect(marked(both, [{ ...event, fault: "foodLow" } as AlarmEvent])).toEqual([false, true]);
    expect(marked(both, [{ ...event, kind: "returned" } as AlarmEvent])).toEqual([false, true]);
  });

  it("is no matter of a note, of two alarms, or of two checks", () => {
    const [raise, end] = [change("suspected", "unacknowledged"), change("unacknowledged", "suppressedByDesign")];
    expect(marked([{ ...raise, priority: "note" }, end])).toEqual([false, false]);
    expect(marked([{ ...raise, fault: "foodLow" }, end])).toEqual([false, false]);
    expect(marked([{ ...raise, at: after(at, minutes(-1)) }, end])).toEqual([false, false]);
    expect(marked([change("normal", "suspected"), end])).toEqual([false, false]);
  });
});
