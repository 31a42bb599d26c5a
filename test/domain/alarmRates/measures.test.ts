import fc from "fast-check";
import { describe, expect, it } from "vitest";
import {
  chatterRule,
  floodRule,
  perDayRule,
  staleRule,
  tenMinutesMost,
} from "../../../server/domain/alarmRates/ceilings.ts";
import { alarmFloods, type Flood } from "../../../server/domain/alarmRates/floods.ts";
import { localDaysBetweenInstants, maxWithin, perDayOf } from "../../../server/domain/alarmRates/load.ts";
import { alarmRates } from "../../../server/domain/alarmRates/rates.ts";
import { faultKinds } from "../../../server/domain/faults.ts";
import {
  after,
  before,
  days,
  hours,
  type Instant,
  instantOf,
  minutes,
  type Span,
  seconds,
} from "../../../server/domain/instant.ts";
import { alarmChanges, at, briefAlarm, from, history, ordinaryAlarm, to, zone } from "./alarmChanges.ts";

describe("the standard's figures", () => {
  it("are those of the table: alm-rate-accept", () => {
    expect([perDayRule.acceptable, perDayRule.most]).toEqual([144, 288]);
  });
  it("are those of the table: alm-flood", () => {
    expect(floodRule).toEqual({ beginsAbove: 10, endsBelow: 5, within: minutes(10) });
    expect(tenMinutesMost).toBe(10);
  });
  it("are those of the table: alm-stale-chatter", () => {
    expect(staleRule.after).toBe(hours(24));
    expect(chatterRule).toEqual({ onsets: 3, within: minutes(1) });
  });
});

describe("the load", () => {
  it("is counted by local days, on which clocks may change", () => {
    const spring = { from: instantOf("2026-03-28T00:00:00+01:00"), to: instantOf("2026-03-31T00:00:00+02:00") };
    expect(localDaysBetweenInstants(spring.from, spring.to, zone)).toEqual(["2026-03-28", "2026-03-29", "2026-03-30"]);
    expect(perDayOf(3, spring.from, spring.to)).toBeCloseTo(3 / (71 / 24), 12);
  });

  it("finds the worst ten minutes wherever they begin", () => {
    const crowd = [55, 58, 62, 64.9, 110, 114].map((minute) => at(minutes(minute)));
    expect(maxWithin(crowd, minutes(10))).toBe(4);
  });

  it("agrees with a naive count, whatever came when", () => {
    fc.assert(
      fc.property(moments, fc.integer({ min: 1, max: 120 }), (times, long) => {
        const length = minutes(long);
        const naive = times.map((end) => times.filter((time) => time > end - length && time <= end).length);
        expect(maxWithin(times, length)).toBe(Math.max(0, ...naive));
      }),
    );
  });
});

const moments = fc
  .array(fc.integer({ min: 0, max: 400 }), { maxLength: 60 })
  .map((drawn) => drawn.map((half) => at(seconds(30 * half))).sort((one, other) => one - other));

describe("a flood", () => {
  it("begins with the eleventh alarm within ten minutes: alm-flood-example", () => {
    const times = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 9.5].map((minute) => at(minutes(minute)));
    expect(alarmFloods(times, to)).toEqual([
      { from: at(minutes(9.5)), to: at(minutes(16)), alarmCount: 11, firstIndex: 0 },
    ]);
  });

  it("isn't begun by ten, nor by eleven of which the first is ten minutes old", () => {
    const ten = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9].map((minute) => at(minutes(minute)));
    expect(alarmFloods(ten, to)).toEqual([]);
    expect(alarmFloods([...ten, at(minutes(10))], to)).toEqual([]);
  });

  it("goes on at the end of what is known", () => {
    const times = Array.from({ length: 12 }, (_, index) => before(to, seconds(60 - index)));
    expect(alarmFloods(times, to)).toMatchObject([{ to: null, alarmCount: 12 }]);
  });

  it("is what a naive walk second by second finds, whatever came when", () => {
    fc.assert(
      fc.property(moments, (times) => {
        expect(alarmFloods(times, at(hours(24))).map(({ from, to }) => ({ from, to }))).toEqual(walked(times));
      }),
      { numRuns: 60 },
    );
  });

  it("is reached by that property", () => {
    const crowd = Array.from({ length: 40 }, (_, index) => at(seconds(30 * index)));
    expect(walked(crowd)).toHaveLength(1);
  });
});

/** The definition, applied every half second: more than ten within ten minutes begin it, fewer than five end it. */
function walked(times: readonly Instant[]): Pick<Flood, "from" | "to">[] {
  const found: { from: Instant; to: Instant | null }[] = [];
  let open: { from: Instant; to: Instant | null } | null = null;
  for (let now = from; now <= at(hours(4)); now = after(now, seconds(30))) {
    const count = times.filter((time) => time > now - minutes(10) && time <= now).length;
    if (open === null && count > 10) {
      open = { from: now, to: null };
      found.push(open);
    } else if (open !== null && count < 5) {
      open.to = now;
      open = null;
    }
  }
  return found;
}

describe("chattering", () => {
  const comings = (...secondsOfThem: number[]) =>
    alarmChanges(
      "rowan",
      "buttonSilent",
      ...secondsOfThem.flatMap((second) => [
        ["normal", "unacknowledged", at(seconds(second)), true] as const,
        ["unacknowledged", "normal", at(seconds(second + 5)), false] as const,
      ]),
    );
  it("is three comings of one fault within a minute", () => {
    expect(alarmRates(history(comings(100, 120, 160))).chattering).toEqual([
      { feeder: "rowan", fault: "buttonSilent", perMinuteMax: 3, at: at(seconds(160)) },
    ]);
    expect(alarmRates(history(comings(100, 120, 161))).chattering).toEqual([]);
  });
  it("isn't one coming each of three alarms", () => {
    const three = (["buttonSilent", "perchSilent", "detectorSilent"] as const).map((fault, index) =>
      ordinaryAlarm("rowan", fault, at(seconds(100 + index))),
    );
    expect(alarmRates(history(...three)).chattering).toEqual([]);
  });
});

describe("a fleeting alarm", () => {
  it("was gone within two minutes, and nobody had seen it", () => {
    expect(alarmRates(history(briefAlarm("rowan", "trayJammed", at(hours(3)), minutes(2)))).fleeting).toHaveLength(1);
    expect(alarmRates(history(briefAlarm("rowan", "trayJammed", at(hours(3)), minutes(3)))).fleeting).toEqual([]);
    const seen = ordinaryAlarm("rowan", "trayJammed", at(hours(3)), seconds(30), minutes(1));
    expect(alarmRates(history(seen)).fleeting).toEqual([]);
  });
  it("is one also where an off-delay lets it stand on", () => {
    const held = alarmChanges(
      "rowan",
      "depositUnpaid",
      ["normal", "unacknowledged", at(hours(3)), true],
      ["unacknowledged", "unacknowledged", at(minutes(181)), false],
      ["unacknowledged", "returnedUnacknowledged", at(minutes(211)), false],
    );
    expect(alarmRates(history(held)).fleeting).toHaveLength(1);
  });
});

describe("a stale alarm", () => {
  it("stands for more than a day, acknowledged or not", () => {
    const long = ordinaryAlarm("rowan", "scaleSilent", at(days(3)), hours(1), days(4));
    const short = ordinaryAlarm("larch", "scaleSilent", at(days(3)), hours(1), hours(24));
    const asOf = (known: number) => {
      const whole = history(long, short);
      const changes = whole.changes.filter((change) => change.at < at(days(known)));
      return alarmRates({ ...whole, to: at(days(known)), changes }).stale;
    };
    expect(asOf(30)).toEqual([]);
    expect(asOf(4)).toEqual([]);
    expect(asOf(4.01).map(({ feeder }) => feeder)).toEqual(["rowan"]);
  });
  it("stands still where nothing ended it, and is no longer one once it is set aside", () => {
    const standing = alarmChanges("rowan", "scaleSilent", ["normal", "unacknowledged", at(days(20))]);
    const shelved = alarmChanges(
      "larch",
      "scaleSilent",
      ["normal", "unacknowledged", at(days(20))],
      ["unacknowledged", "shelved", at(days(20.5))],
    );
    expect(alarmRates(history(standing, shelved)).stale.map(({ feeder }) => feeder)).toEqual(["rowan"]);
  });
});

describe("shares", () => {
  it("name who makes the load, the most frequent first", () => {
    const { frequentAlarms } = alarmRates(
      history(
        ordinaryAlarm("rowan", "iceLock", at(days(1))),
        ordinaryAlarm("rowan", "iceLock", at(days(2))),
        ordinaryAlarm("larch", "iceLock", at(days(3))),
        ordinaryAlarm("larch", "foodLow", at(days(4))),
      ),
    );
    expect(frequentAlarms[0]).toEqual({ feeder: "rowan", fault: "iceLock", alarmCount: 2, share: 0.5 });
    expect(frequentAlarms).toHaveLength(3);
  });

  it("sum to one, whatever was raised", () => {
    const alarm = fc.record({
      fault: fc.constantFrom(...faultKinds),
      feeder: fc.constantFrom("rowan", "larch"),
      hour: fc.integer({ min: 0, max: 700 }),
    });
    fc.assert(
      fc.property(fc.array(alarm, { maxLength: 40 }), (drawn) => {
        const rates = alarmRates(
          history(...drawn.map(({ fault, feeder, hour }) => briefAlarm(feeder, fault, at(hours(hour)), minutes(30)))),
        );
        const sum = rates.frequentAlarms.reduce((all, { share }) => all + share, 0);
        expect(sum).toBeCloseTo(rates.raised.length > 0 ? 1 : 0, 9);
        expect(rates.raised.every(({ priority }) => priority !== "note")).toBe(true);
      }),
    );
  });
});

describe("a week at each feeder", () => {
  it("is what was raised, by feeders and weeks", () => {
    const twelve = Array.from({ length: 12 }, (_, index) => ordinaryAlarm("rowan", "foodLow", at(days(2 * index))));
    const rates = alarmRates(history(...twelve));
    expect(rates.perFeederWeek).toBeCloseTo(12 / (2 * (30 / 7)), 12);
    expect(rates.audiblePerFeederWeek).toBeNull();
    expect(alarmRates({ ...history(...twelve), audibleNotifications: 6 }).audiblePerFeederWeek).toBeCloseTo(
      6 / (2 * (30 / 7)),
      12,
    );
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
  it("counts nothing that stood before", () => {
    const early = alarmChanges("rowan", "foodOut", ["acknowledged", "normal", after(from, 60_000 as Span)]);
    expect(alarmRates(history(early)).raised).toEqual([]);
  });
});
