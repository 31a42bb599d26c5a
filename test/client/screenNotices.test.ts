import { describe, expect, it } from "vitest";
import { isStale } from "../../client/state/screenNotices.ts";
import { alarmView, feederView } from "./cannedViews.ts";

const asOf = Date.parse("2026-11-25T13:20:00Z");
const carried = { feeder: "rowan", fault: "trayJammed", raisedAt: "2026-11-25T13:03:00Z" };
const rowan = (...alarms: ReturnType<typeof alarmView>[]) => feederView(asOf, { alarms });

describe("a notice on the screen beside the page", () => {
  it("stays while its alarm waits for an answer", () => {
    expect(isStale(carried, [rowan(alarmView(asOf))], asOf)).toBe(false);
  });

  it("goes once its alarm is over, or somebody has seen it, or it was put aside", () => {
    expect(isStale(carried, [rowan()], asOf)).toBe(true);
    for (const phase of ["acknowledged", "returnedUnacknowledged", "shelved", "suppressedByDesign"] as const)
      expect(isStale(carried, [rowan(alarmView(asOf, { phase }))], asOf), phase).toBe(true);
  });

  it("stays where its alarm was raised after the view was asked for: the push was quicker", () => {
    expect(isStale({ ...carried, raisedAt: "2026-11-25T13:20:01Z" }, [rowan()], asOf)).toBe(false);
    expect(isStale({ ...carried, raisedAt: "no time" }, [rowan()], asOf)).toBe(false);
  });

  it("stays where it is about no alarm, or about a feeder that isn't looked at", () => {
    expect(isStale(null, [rowan()], asOf)).toBe(false);
    expect(isStale({}, [rowan()], asOf)).toBe(false);
    expect(isStale({ ...carried, fault: null }, [rowan()], asOf)).toBe(false);
    expect(isStale({ ...carried, feeder: "larch" }, [rowan()], asOf)).toBe(false);
  });
});
