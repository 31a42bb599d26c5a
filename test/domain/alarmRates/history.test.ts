import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { followAlarms } from "../../../server/domain/alarmRates/history.ts";
import { after, before, days, hours, milliseconds, minutes, seconds } from "../../../server/domain/instant.ts";
import { alarmChanges, at, briefAlarm, from, history, ordinaryAlarm } from "./alarmChanges.ts";

describe("the alarms of a log", () => {
  it("are raised once, answered and over", () => {
    const { raised } = followAlarms(history(ordinaryAlarm("rowan", "foodLow", at(hours(5)))));
    expect(raised).toEqual([
      {
        feeder: "rowan",
        fault: "foodLow",
        priority: "soon",
        raisedAt: at(hours(5)),
        acknowledgedAt: at(minutes(340)),
        faultGoneAt: at(minutes(390)),
        endedAt: at(minutes(390)),
      },
    ]);
  });

  it("leave notes apart: they ask for no act", () => {
    const lives = followAlarms(history(briefAlarm("rowan", "frostInside", at(hours(5)), hours(3))));
    expect(lives.raised).toEqual([]);
    expect(lives.onsets).toEqual([]);
    expect(lives.notes).toHaveLength(1);
  });

  it("aren't raised a second time by the end of a suppression", () => {
    const { raised } = followAlarms(
      history(
        alarmChanges(
          "rowan",
          "scaleSilent",
          ["normal", "unacknowledged", at(hours(1))],
          ["unacknowledged", "suppressedByDesign", at(hours(2))],
          ["suppressedByDesign", "unacknowledged", at(hours(9))],
        ),
      ),
    );
    expect(raised).toHaveLength(1);
    expect(raised[0]).toMatchObject({ raisedAt: at(hours(1)), endedAt: null });
  });

  it("are raised by the end of a suppression under which they began", () => {
    const { raised } = followAlarms(
      history(
        alarmChanges(
          "rowan",
          "scaleSilent",
          ["normal", "suppressedByDesign", at(hours(2))],
          ["suppressedByDesign", "unacknowledged", at(hours(9))],
        ),
      ),
    );
    expect(raised.map((raising) => raising.raisedAt)).toEqual([at(hours(9))]);
  });

  it("are raised anew when the shelf ends and the fault is there still", () => {
    const { raised } = followAlarms(
      history(
        alarmChanges(
          "rowan",
          "scaleSilent",
          ["normal", "unacknowledged", at(hours(1))],
          ["unacknowledged", "shelved", at(hours(2))],
          ["shelved", "unacknowledged", at(hours(50))],
        ),
      ),
    );
    expect(raised.map(({ raisedAt, endedAt }) => [raisedAt, endedAt])).toEqual([
      [at(hours(1)), at(hours(2))],
      [at(hours(50)), null],
    ]);
  });

  it("stood before the log was read, where its first word is that they end", () => {
    const early = alarmChanges("rowan", "foodOut", ["acknowledged", "normal", at(hours(3))]);
    expect(followAlarms(history(early)).raised).toMatchObject([
      { raisedAt: before(from, milliseconds(1)), endedAt: at(hours(3)) },
    ]);
  });

  it("stand since when the feeder itself says, also where the log tells nothing of them", () => {
    const raisedAt = before(from, days(9));
    const alarm = { feeder: "rowan", fault: "scaleSilent", priority: "soon", raisedAt } as const;
    expect(followAlarms({ ...history(), standing: [alarm] }).raised).toMatchObject([
      { raisedAt: raisedAt, endedAt: null },
    ]);
    const answered = alarmChanges("rowan", "scaleSilent", ["unacknowledged", "acknowledged", at(hours(3))]);
    expect(followAlarms({ ...history(answered), standing: [alarm] }).raised).toMatchObject([
      { raisedAt: raisedAt, acknowledgedAt: at(hours(3)) },
    ]);
  });

  it("count as answered when they are acknowledged after they went, and not when they are only forgotten", () => {
    const gone = (forgotten: number) =>
      alarmChanges(
        "rowan",
        "foodLow",
        ["normal", "unacknowledged", at(hours(1))],
        ["unacknowledged", "returnedUnacknowledged", at(hours(2))],
        ["returnedUnacknowledged", "normal", at(hours(2 + forgotten))],
      );
    expect(followAlarms(history(gone(5))).raised[0]?.acknowledgedAt).toBe(at(hours(7)));
    expect(followAlarms(history(gone(24))).raised[0]?.acknowledgedAt).toBeNull();
  });

  it("stand on while they are latched, though the fault is gone, and aren't raised anew by that", () => {
    const latched = alarmChanges(
      "rowan",
      "motorStalled",
      ["normal", "unacknowledged", at(hours(1)), true],
      ["unacknowledged", "latchedUnacknowledged", at(hours(2)), false],
      ["latchedUnacknowledged", "latchedAcknowledged", at(hours(3)), false],
      ["latchedAcknowledged", "shelved", at(hours(4)), false],
      ["shelved", "latchedAcknowledged", at(hours(6)), false],
      ["latchedAcknowledged", "normal", at(hours(9)), false],
    );
    const { raised, onsets } = followAlarms(history(latched));
    expect(raised).toMatchObject([
      { raisedAt: at(hours(1)), faultGoneAt: at(hours(2)), acknowledgedAt: at(hours(3)), endedAt: at(hours(9)) },
    ]);
    expect(onsets).toHaveLength(1);
  });

  it("tell of the fault's own going before an off-delay ends the alarm", () => {
    const [raising] = followAlarms(
      history(
        alarmChanges(
          "rowan",
          "depositUnpaid",
          ["normal", "unacknowledged", at(hours(1)), true],
          ["unacknowledged", "unacknowledged", at(minutes(61)), false],
          ["unacknowledged", "returnedUnacknowledged", at(minutes(91)), false],
        ),
      ),
    ).raised;
    expect(raising).toMatchObject({ faultGoneAt: at(minutes(61)), endedAt: at(minutes(91)) });
  });

  it("tell of each coming of the fault, though its alarm stood through all of them", () => {
    const flicker = [0, 20, 40].flatMap((second) => [
      ["acknowledged", "acknowledged", after(at(hours(2)), seconds(second)), true] as const,
      ["acknowledged", "acknowledged", after(at(hours(2)), seconds(second + 10)), false] as const,
    ]);
    const lives = followAlarms(
      history(
        alarmChanges(
          "rowan",
          "buttonSilent",
          ["normal", "unacknowledged", at(hours(1)), true],
          ["unacknowledged", "acknowledged", at(minutes(70)), true],
          ["acknowledged", "acknowledged", at(minutes(80)), false],
          ...flicker,
        ),
      ),
    );
    expect(lives.raised).toHaveLength(1);
    expect(lives.onsets).toHaveLength(4);
  });

  it("are the same, whatever the order in which arrows of one moment were stored", () => {
    const look = at(hours(30));
    const arrows = alarmChanges(
      "rowan",
      "scaleSilent",
      ["unacknowledged", "shelved", at(hours(2))],
      ["shelved", "suspected", look],
      ["suspected", "unacknowledged", look],
    );
    const [first, second, third] = arrows;
    if (!first || !second || !third) throw new Error("expected three arrows");
    const straight = followAlarms({ ...history(), changes: arrows });
    expect(followAlarms({ ...history(), changes: [first, third, second] })).toEqual(straight);
    expect(straight.raised).toHaveLength(2);
  });

  it("never overlap with themselves, in any log that the life cycle can write", () => {
    const arrow = fc.record({ hour: fc.integer({ min: 1, max: 700 }), alarm: fc.constantFrom("rowan", "larch") });
    fc.assert(
      fc.property(fc.array(arrow, { maxLength: 60 }), (drawn) => {
        const phases = ["unacknowledged", "acknowledged", "normal"] as const;
        const steps = new Map<string, number>();
        const changes = [...drawn]
          .sort((one, other) => one.hour - other.hour)
          .flatMap(({ hour, alarm }) => {
            const step = steps.get(alarm) ?? 0;
            steps.set(alarm, step + 1);
            return alarmChanges(alarm, "foodLow", [
              phases[(step + 2) % 3] ?? "normal",
              phases[step % 3] ?? "normal",
              at(hours(hour)),
            ]);
          });
        const { raised } = followAlarms({ ...history(), changes });
        expect(raised).toHaveLength(changes.filter(({ to }) => to === "unacknowledged").length);
        for (const feeder of ["rowan", "larch"]) {
          const own = raised.filter((raising) => raising.feeder === feeder);
          for (const [index, { endedAt }] of own.entries()) {
            const next = own[index + 1];
            if (next !== undefined) expect(endedAt).toBeLessThanOrEqual(next.raisedAt);
          }
        }
      }),
    );
  });
});
