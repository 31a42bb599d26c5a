import { describe, expect, it } from "vitest";
import { isStaleNotification } from "../../client/state/shownNotifications.ts";
import { alarmViewFixture, feederViewFixture } from "./viewFixtures.ts";

const asOf = Date.parse("2026-11-25T13:20:00Z");
const carried = { feeder: "rowan", fault: "trayJammed", raisedAt: "2026-11-25T13:03:00Z" };
const rowan = (...alarms: ReturnType<typeof alarmViewFixture>[]) => feederViewFixture(asOf, { alarms });

describe("a notification shown while the page is open", () => {
  it("stays while its alarm is unacknowledged", () => {
    expect(isStaleNotification(carried, [rowan(alarmViewFixture(asOf))], asOf)).toBe(false);
  });

  it("is closed once its alarm has ended, was acknowledged or was shelved", () => {
    expect(isStaleNotification(carried, [rowan()], asOf)).toBe(true);
    for (const phase of ["acknowledged", "returnedUnacknowledged", "shelved", "suppressedByDesign"] as const)
      expect(isStaleNotification(carried, [rowan(alarmViewFixture(asOf, { state: phase }))], asOf), phase).toBe(true);
  });

  it("stays where its alarm was raised after the request for the view: the push was faster", () => {
    expect(isStaleNotification({ ...carried, raisedAt: "2026-11-25T13:20:01Z" }, [rowan()], asOf)).toBe(false);
    expect(isStaleNotification({ ...carried, raisedAt: "no time" }, [rowan()], asOf)).toBe(false);
  });

  it("stays where it is about no alarm, or about a feeder that is not shown", () => {
    expect(isStaleNotification(null, [rowan()], asOf)).toBe(false);
    expect(isStaleNotification({}, [rowan()], asOf)).toBe(false);
    expect(isStaleNotification({ ...carried, fault: null }, [rowan()], asOf)).toBe(false);
    expect(isStaleNotification({ ...carried, feeder: "larch" }, [rowan()], asOf)).toBe(false);
  });
});
