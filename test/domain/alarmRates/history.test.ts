import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { raisedAlarms } from "../../../server/domain/alarmRates/history.ts";
import { hours, minutes } from "../../../server/domain/instant.ts";
import { alarmChanges, at, ordinaryAlarm } from "./alarmChanges.ts";

const scaleSilent = (...transitions: Parameters<typeof alarmChanges>[2][]) =>
  raisedAlarms(alarmChanges("rowan", "scaleSilent", ...transitions));

describe("the alarms of a log", () => {
  it("have been raised, acknowledged and ended", () => {
    expect(raisedAlarms(ordinaryAlarm("rowan", "foodLow", at(hours(5))))).toEqual([
      {
        feeder: "rowan",
        fault: "foodLow",
        priority: "soon",
        raisedAt: at(hours(5)),
        acknowledgedAt: at(minutes(340)),
        endedAt: at(minutes(390)),
      },
    ]);
  });

  it("are not raised a second time by the end of a suppression", () => {
    const raised = scaleSilent(
      ["normal", "unacknowledged", at(hours(1))],
      ["unacknowledged", "suppressedByDesign", at(hours(2))],
      ["suppressedByDesign", "unacknowledged", at(hours(9))],
    );
    expect(raised).toMatchObject([{ raisedAt: at(hours(1)), endedAt: null }]);
  });

  it("are raised by the end of a suppression under which they began", () => {
    const raised = scaleSilent(
      ["normal", "suppressedByDesign", at(hours(2))],
      ["suppressedByDesign", "unacknowledged", at(hours(9))],
    );
    expect(raised.map(({ raisedAt }) => raisedAt)).toEqual([at(hours(9))]);
  });

  it("are raised again when shelving ends and the fault is still there", () => {
    const raised = scaleSilent(
      ["normal", "unacknowledged", at(hours(1))],
      ["unacknowledged", "shelved", at(hours(2))],
      ["shelved", "unacknowledged", at(hours(50))],
    );
    expect(raised.map(({ raisedAt, endedAt }) => [raisedAt, endedAt])).toEqual([
      [at(hours(1)), at(hours(2))],
      [at(hours(50)), null],
    ]);
  });

  it("do not include one that was active before the log begins, nor its return from a suppression", () => {
    expect(scaleSilent(["acknowledged", "normal", at(hours(3))])).toEqual([]);
    const suppressed = scaleSilent(
      ["acknowledged", "suppressedByDesign", at(hours(3))],
      ["suppressedByDesign", "acknowledged", at(hours(4))],
    );
    expect(suppressed).toEqual([]);
  });

  it("are the same alarm when they are suppressed twice, and another one after the fault ended", () => {
    const raised = scaleSilent(
      ["normal", "unacknowledged", at(hours(1))],
      ["unacknowledged", "suppressedByDesign", at(hours(2))],
      ["suppressedByDesign", "unacknowledged", at(hours(3))],
      ["unacknowledged", "suppressedByDesign", at(hours(4))],
      ["suppressedByDesign", "normal", at(hours(5))],
      ["normal", "unacknowledged", at(hours(6))],
    );
    expect(raised.map(({ raisedAt, endedAt }) => [raisedAt, endedAt])).toEqual([
      [at(hours(1)), at(hours(4))],
      [at(hours(6)), null],
    ]);
  });

  it("count as acknowledged also after they ended, but not when they are only forgotten a day later", () => {
    const ended = (forgottenAfter: number) =>
      scaleSilent(
        ["normal", "unacknowledged", at(hours(1))],
        ["unacknowledged", "returnedUnacknowledged", at(hours(2))],
        ["returnedUnacknowledged", "normal", at(hours(2 + forgottenAfter))],
      );
    expect(ended(23.8)[0]?.acknowledgedAt).toBe(at(hours(25.8)));
    expect(ended(23.9)[0]?.acknowledgedAt).toBeNull();
  });

  it("stay active while they are latched, and are not raised again when a shelved latch returns", () => {
    const raised = raisedAlarms(
      alarmChanges(
        "rowan",
        "chargingInFrost",
        ["normal", "unacknowledged", at(hours(1))],
        ["unacknowledged", "latchedUnacknowledged", at(hours(2))],
        ["latchedUnacknowledged", "latchedAcknowledged", at(hours(3))],
        ["latchedAcknowledged", "shelved", at(hours(4))],
        ["shelved", "latchedAcknowledged", at(hours(6))],
        ["latchedAcknowledged", "normal", at(hours(9))],
      ),
    );
    expect(raised).toMatchObject([{ raisedAt: at(hours(1)), acknowledgedAt: at(hours(3)), endedAt: at(hours(9)) }]);
  });

  it("are the same where only the fault comes and goes in between", () => {
    const [raise, ...rest] = ordinaryAlarm("rowan", "buttonSilent", at(hours(1)));
    if (raise === undefined) throw new Error("expected a raise");
    const flicker = alarmChanges("rowan", "buttonSilent", ["unacknowledged", "unacknowledged", at(minutes(61))]);
    expect(raisedAlarms([raise, ...flicker, ...rest])).toEqual(raisedAlarms([raise, ...rest]));
  });

  it("count the changes of one moment in their order", () => {
    const check = at(hours(30));
    const changes = alarmChanges(
      "rowan",
      "scaleSilent",
      ["unacknowledged", "shelved", at(hours(2))],
      ["shelved", "normal", check],
      ["normal", "suspected", check],
      ["suspected", "unacknowledged", check],
    );
    expect(raisedAlarms(changes)).toMatchObject([{ raisedAt: check, endedAt: null }]);
  });

  it("never overlap with themselves, in any log", () => {
    const change = fc.record({ hour: fc.integer({ min: 1, max: 700 }), alarm: fc.constantFrom("rowan", "larch") });
    fc.assert(
      fc.property(fc.array(change, { maxLength: 60 }), (drawn) => {
        const states = ["unacknowledged", "acknowledged", "normal"] as const;
        const steps = new Map<string, number>();
        const changes = [...drawn]
          .sort((one, other) => one.hour - other.hour)
          .flatMap(({ hour, alarm }) => {
            const step = steps.get(alarm) ?? 0;
            steps.set(alarm, step + 1);
            return alarmChanges(alarm, "foodLow", [
              states[(step + 2) % 3] ?? "normal",
              states[step % 3] ?? "normal",
              at(hours(hour)),
            ]);
          });
        const raised = raisedAlarms(changes);
        expect(raised).toHaveLength(changes.filter(({ to }) => to === "unacknowledged").length);
        for (const feeder of ["rowan", "larch"]) {
          const own = raised.filter((alarm) => alarm.feeder === feeder);
          for (const [index, { endedAt }] of own.entries()) {
            const next = own[index + 1];
            if (next !== undefined) expect(endedAt).toBeLessThanOrEqual(next.raisedAt);
          }
        }
      }),
    );
  });
});
