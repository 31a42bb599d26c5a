import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { alarmRates, frequentAlarms, worstTenMinutes } from "../../../server/domain/alarmRates/rates.ts";
import { after, days, hours, type Instant, minutes, seconds } from "../../../server/domain/instant.ts";
import { alarmChanges, at, briefAlarm, from, history, ordinaryAlarm } from "./alarmChanges.ts";

describe("the worst ten minutes", () => {
  const raisedAt = (times: readonly Instant[]) => times.map((time) => ({ raisedAt: time }));

  it("are those of the definition: no other half-open window of ten minutes has more (property)", () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 0, max: 3_600 }), { maxLength: 30 }), (drawn) => {
        const times = drawn.map((second) => at(seconds(second))).sort((one, other) => one - other);
        const counts = times.map(
          (end) => times.filter((time) => time > after(end, minutes(-10)) && time <= end).length,
        );
        expect(worstTenMinutes(raisedAt(times))).toHaveLength(Math.max(0, ...counts));
      }),
    );
  });

  it("end before the moment ten minutes later", () => {
    const times = [0, 300, 600].map((second) => at(seconds(second)));
    expect(worstTenMinutes(raisedAt(times))).toEqual(raisedAt(times.slice(0, 2)));
  });
});

describe("the most frequent alarms", () => {
  it("are counted by feeder and fault, the most frequent first", () => {
    const { raised } = alarmRates(
      history(
        ordinaryAlarm("larch", "foodLow", at(days(1))),
        ordinaryAlarm("rowan", "iceLock", at(days(2))),
        ordinaryAlarm("rowan", "iceLock", at(days(3))),
        ordinaryAlarm("larch", "iceLock", at(days(4))),
      ),
    );
    expect(frequentAlarms(raised)).toEqual([
      { feeder: "rowan", fault: "iceLock", alarmCount: 2 },
      { feeder: "larch", fault: "foodLow", alarmCount: 1 },
      { feeder: "larch", fault: "iceLock", alarmCount: 1 },
    ]);
  });
});

describe("notes", () => {
  it("are counted apart: they require no action", () => {
    const { raised, notes } = alarmRates(history(briefAlarm("rowan", "frostInside", at(hours(5)), hours(3))));
    expect(raised).toEqual([]);
    expect(notes).toHaveLength(1);
  });
});

describe("a week at each feeder", () => {
  it("is what was raised, by feeders and weeks", () => {
    const twelve = Array.from({ length: 12 }, (_, index) => ordinaryAlarm("rowan", "foodLow", at(days(2 * index))));
    expect(alarmRates(history(...twelve)).perFeederWeek).toBeCloseTo(12 / (2 * (30 / 7)), 12);
    expect(alarmRates({ ...history(), feeders: [] }).perFeederWeek).toBe(0);
  });

  it("counts a feeder from when it was added", () => {
    const two = history(
      ordinaryAlarm("rowan", "foodLow", at(days(16))),
      ordinaryAlarm("larch", "foodLow", at(days(20))),
    );
    const feeders = two.feeders.map((feeder) => ({ ...feeder, addedAt: at(days(feeder.id === "rowan" ? -50 : 16)) }));
    expect(alarmRates({ ...two, feeders }).perFeederWeek).toBeCloseTo(2 / ((30 + 14) / 7), 12);
  });

  it("counts nothing that was active before", () => {
    const early = alarmChanges("rowan", "foodOut", ["acknowledged", "normal", after(from, minutes(1))]);
    expect(alarmRates(history(early)).raised).toEqual([]);
  });
});

describe("the days that are known", () => {
  it("are whole ones; a month in which clocks go forward is no day short", () => {
    const known = (span: number) => alarmRates({ ...history(), to: at(hours(span)) }).days;
    expect([20, 24, 47, 30 * 24 - 1].map(known)).toEqual([0, 1, 2, 30]);
  });
});
