import { describe, expect, it } from "vitest";
import { isStaleNotification } from "../../client/state/shownNotifications.ts";
import { alarmViewFixture, feederViewFixture } from "./viewFixtures.ts";

const asOf = Date.parse("2026-11-25T13:20:00Z");
const carried = { feeder: "rowan", fault: "trayJammed", raisedAt: "2026-11-25T13:03:00Z" };
const rowan = (...alarms: ReturnType<typeof alarmViewFixture>[]) => feederViewFixture(asOf, { alarms });

describe("a notice on the screen beside the page", () => {
  it("stays while its alarm waits for an answer", () => {
    expect(isStaleNotification(carried, [rowan(alarmViewFixture(asOf))], asOf)).toBe(false);
  });

  it("goes once its alarm is over, or somebody has seen it, or it was put aside", () => {
    expect(isStaleNotification(carried, [rowan()], asOf)).toBe(true);
    for (const phase of ["acknowledged", "returnedUnacknowledged", "shelved", "suppressedByDesign"] as const)
      expect(isStaleNotification(carried, [rowan(alarmViewFixture(asOf, { state: phase }))], asOf), phase).toBe(true);
  });

  it("stays where its alarm was raised after the view was asked for: the push was quicker", () => {
    expect(isStaleNotification({ ...carried, raisedAt: "2026-11-25T13:20:01Z" }, [rowan()], asOf)).toBe(false);
    expect(isStaleNotification({ ...carried, raisedAt: "no time" }, [rowan()], asOf)).toBe(false);
  });

  it("stays where it is about no alarm, or about a feeder that isn't looked at", () => {
    expect(isStaleNotification(null, [rowan()], asOf)).toBe(false);
    expect(isStaleNotification({}, [rowan()], asOf)).toBe(false);
    expect(isStaleNotification({ ...carried, fault: null }, [rowan()], asOf)).toBe(false);
    expect(isStaleNotification({ ...carried, feeder: "larch" }, [rowan()], asOf)).toBe(false);
  });
});
