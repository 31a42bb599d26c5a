import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { faultKinds, ruleOf } from "../../../server/domain/faults.ts";
import {
  after,
  before,
  days,
  hours,
  type Instant,
  minutes,
  type Span,
  seconds,
} from "../../../server/domain/instant.ts";
import {
  chatterRule,
  floodRule,
  loadCeilings,
  priorityShares,
  staleRule,
} from "../../../server/domain/rates/ceilings.ts";
import { type Flood, floodsOf } from "../../../server/domain/rates/floods.ts";
import { loadOf, mostWithin } from "../../../server/domain/rates/load.ts";
import { ratesOf } from "../../../server/domain/rates/rates.ts";
import { at, from, history, passing, to, told, usual, zone } from "./told.ts";

describe("the standard's figures", () => {
  it("are those of the table: alm-rate-accept", () => {
    const { perDay, perHour, perTenMinutes } = loadCeilings;
    expect([perDay.acceptable, perDay.most]).toEqual([144, 288]);
    expect([perHour.acceptable, perHour.most]).toEqual([6, 12]);
    expect([perTenMinutes.acceptable, perTenMinutes.most]).toEqual([1, 2]);
  });
  it("are those of the table: alm-flood", () => {
    expect(floodRule).toMatchObject({ beginsAbove: 10, endsBelow: 5, within: minutes(10), mostOfTime: 0.01 });
    expect(loadCeilings.busyTenMinutes).toMatchObject({ over: 10, most: 0.01 });
    expect(loadCeilings.busyHours).toMatchObject({ over: 30, most: 0.01 });
  });
  it("are those of the table: alm-priority", () => {
    expect([priorityShares.low, priorityShares.medium, priorityShares.high]).toEqual([0.8, 0.15, 0.05]);
  });
  it("are those of the table: alm-stale-chatter", () => {
    expect(staleRule.after).toBe(hours(24));
    expect(chatterRule).toMatchObject({ comings: 3, within: minutes(1) });
  });
});

describe("the load", () => {
  it("is counted by local days, on which clocks may change", () => {
    const spring = { from: new Date("2026-03-28T00:00:00+01:00"), to: new Date("2026-03-31T00:00:00+02:00") };
    const midnight = Date.parse("2026-03-30T00:00:00+02:00");
    const times = [midnight - 60_000, midnight, midnight + 60_000] as Instant[];
    const { byDay, perDay } = loadOf(times, +spring.from as Instant, +spring.to as Instant, zone);
    expect(byDay).toEqual([
      { date: "2026-03-28", alarms: 0 },
      { date: "2026-03-29", alarms: 1 },
      { date: "2026-03-30", alarms: 2 },
    ]);
    expect(perDay).toBeCloseTo(3 / (71 / 24), 12);
  });

  it("finds the worst hour and the worst ten minutes wherever they begin", () => {
    const crowd = [55, 58, 62, 64.9, 110, 114].map((minute) => at(minutes(minute)));
    const load = loadOf(crowd, from, to, zone);
    expect(load.worstTenMinutes).toBe(4);
    expect(load.worstHour).toBe(6);
    expect(load.worstDay).toEqual({ date: "2026-01-01", alarms: 6 });
  });

  it("tells the share of crowded periods", () => {
    const eleven = Array.from({ length: 11 }, (_, index) => at(seconds(index * 50)));
    const { busyTenMinutes, busyHours } = loadOf(eleven, from, to, zone);
    expect(busyTenMinutes).toBeCloseTo(1 / (30 * 144), 12);
    expect(busyHours).toBe(0);
    const thirtyOne = Array.from({ length: 31 }, (_, index) => at(minutes(index * 1.9)));
    expect(loadOf(thirtyOne, from, to, zone).busyHours).toBeCloseTo(1 / 720, 12);
  });

  it("agrees with a naive count, whatever came when", () => {
    fc.assert(
      fc.property(moments, fc.integer({ min: 1, max: 120 }), (times, long) => {
        const length = minutes(long);
        const naive = times.map((end) => times.filter((time) => time > end - length && time <= end).length);
        expect(mostWithin(times, length)).toBe(Math.max(0, ...naive));
      }),
    );
  });
});

const moments = fc
  .array(fc.integer({ min: 0, max: 400 }), { maxLength: 60 })
  .map((drawn) => drawn.map((half) => at(seconds(30 * half))).sort((one, other) => one - other));

it("has no load of a span that doesn't end after it begins", () => {
  expect(() => loadOf([], from, from, zone)).toThrow(RangeError);
});

describe("a flood", () => {
  it("begins with the eleventh alarm within ten minutes: alm-flood-example", () => {
    const times = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 9.5].map((minute) => at(minutes(minute)));
    expect(floodsOf(times, to)).toEqual([{ from: at(minutes(9.5)), to: at(minutes(16)), alarms: 11, first: 0 }]);
  });

  it("isn't begun by ten, nor by eleven of which the first is ten minutes old", () => {
    const ten = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9].map((minute) => at(minutes(minute)));
    expect(floodsOf(ten, to)).toEqual([]);
    expect(floodsOf([...ten, at(minutes(10))], to)).toEqual([]);
  });

  it("goes on at the end of what is known", () => {
    const times = Array.from({ length: 12 }, (_, index) => before(to, seconds(60 - index)));
    expect(floodsOf(times, to)).toMatchObject([{ to: null, alarms: 12 }]);
  });

  it("is what a naive walk second by second finds, whatever came when", () => {
    fc.assert(
      fc.property(moments, (times) => {
        expect(floodsOf(times, at(hours(24))).map(({ from, to }) => ({ from, to }))).toEqual(walked(times));
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
    told(
      "rowan",
      "buttonSilent",
      ...secondsOfThem.flatMap((second) => [
        ["normal", "unacknowledged", at(seconds(second)), true] as const,
        ["unacknowledged", "normal", at(seconds(second + 5)), false] as const,
      ]),
    );
  it("is three comings of one fault within a minute", () => {
    expect(ratesOf(history(comings(100, 120, 160))).chattering).toEqual([
      { feeder: "rowan", fault: "buttonSilent", most: 3, at: at(seconds(160)) },
    ]);
    expect(ratesOf(history(comings(100, 120, 161))).chattering).toEqual([]);
  });
  it("isn't one coming each of three alarms", () => {
    const three = (["buttonSilent", "perchSilent", "detectorSilent"] as const).map((fault, index) =>
      usual("rowan", fault, at(seconds(100 + index))),
    );
    expect(ratesOf(history(...three)).chattering).toEqual([]);
  });
});

describe("a fleeting alarm", () => {
  it("was gone within two minutes, and nobody had seen it", () => {
    expect(ratesOf(history(passing("rowan", "trayJammed", at(hours(3)), minutes(2)))).fleeting).toHaveLength(1);
    expect(ratesOf(history(passing("rowan", "trayJammed", at(hours(3)), minutes(3)))).fleeting).toEqual([]);
    const seen = usual("rowan", "trayJammed", at(hours(3)), seconds(30), minutes(1));
    expect(ratesOf(history(seen)).fleeting).toEqual([]);
  });
  it("is one also where an off-delay lets it stand on", () => {
    const held = told(
      "rowan",
      "depositUnpaid",
      ["normal", "unacknowledged", at(hours(3)), true],
      ["unacknowledged", "unacknowledged", at(minutes(181)), false],
      ["unacknowledged", "returnedUnacknowledged", at(minutes(211)), false],
    );
    expect(ratesOf(history(held)).fleeting).toHaveLength(1);
  });
});

describe("a stale alarm", () => {
  it("stands for more than a day, acknowledged or not", () => {
    const long = usual("rowan", "scaleSilent", at(days(3)), hours(1), days(4));
    const short = usual("larch", "scaleSilent", at(days(3)), hours(1), hours(24));
    const { stale } = ratesOf(history(long, short));
    expect(stale.ever.map(({ feeder }) => feeder)).toEqual(["rowan"]);
    expect(stale.standing).toEqual([]);
    expect(stale.mostOnADay).toBe(1);
  });
  it("stands still where nothing ended it, and is no longer one once it is set aside", () => {
    const standing = told("rowan", "scaleSilent", ["normal", "unacknowledged", at(days(20))]);
    const shelved = told(
      "larch",
      "scaleSilent",
      ["normal", "unacknowledged", at(days(20))],
      ["unacknowledged", "shelved", at(days(20.5))],
    );
    expect(ratesOf(history(standing, shelved)).stale.standing.map(({ feeder }) => feeder)).toEqual(["rowan"]);
  });
  it("is counted on the worst day", () => {
    const five = (["scaleSilent", "chuteBlind", "perchSilent", "buttonSilent", "supplyWeak"] as const).map(
      (fault, index) => usual("rowan", fault, at(days(index)), hours(1), days(10)),
    );
    expect(ratesOf(history(...five)).stale.mostOnADay).toBe(5);
  });
});

describe("shares", () => {
  it("name who makes the load, the most frequent first", () => {
    const { loaders } = ratesOf(
      history(
        usual("rowan", "iceLock", at(days(1))),
        usual("rowan", "iceLock", at(days(2))),
        usual("larch", "iceLock", at(days(3))),
        usual("larch", "foodLow", at(days(4))),
      ),
    );
    expect(loaders[0]).toEqual({ feeder: "rowan", fault: "iceLock", alarms: 2, share: 0.5 });
    expect(loaders).toHaveLength(3);
  });

  it("sum to one, over alarms and over priorities, whatever was raised", () => {
    const alarm = fc.record({
      fault: fc.constantFrom(...faultKinds),
      feeder: fc.constantFrom("rowan", "larch"),
      hour: fc.integer({ min: 0, max: 700 }),
    });
    fc.assert(
      fc.property(fc.array(alarm, { maxLength: 40 }), (drawn) => {
        const rates = ratesOf(
          history(...drawn.map(({ fault, feeder, hour }) => passing(feeder, fault, at(hours(hour)), minutes(30)))),
        );
        const sum = (shares: readonly (number | null)[]) =>
          shares.reduce<number>((all, share) => all + (share ?? 0), 0);
        const some = rates.raised.length > 0 ? 1 : 0;
        expect(sum(rates.loaders.map(({ share }) => share))).toBeCloseTo(some, 9);
        expect(sum(rates.priorities.map(({ annunciatedShare }) => annunciatedShare))).toBeCloseTo(some, 9);
        expect(sum(rates.priorities.map(({ configuredShare }) => configuredShare))).toBeCloseTo(1, 9);
        expect(sum(rates.load.byDay.map(({ alarms }) => alarms))).toBe(rates.raised.length);
        expect(rates.raised.every(({ priority }) => priority !== "note")).toBe(true);
      }),
    );
  });

  it("of what is configured are those of the table of faults", () => {
    const [urgent, soon] = ratesOf(history()).priorities;
    const kinds = (priority: string) => faultKinds.filter((kind) => ruleOf(kind).priority === priority).length;
    expect([urgent?.configured, soon?.configured]).toEqual([kinds("urgent"), kinds("soon")]);
  });
});

describe("answers", () => {
  it("take half of them so long", () => {
    const { answers } = ratesOf(
      history(
        usual("rowan", "foodLow", at(days(1)), minutes(10)),
        usual("rowan", "foodLow", at(days(2)), minutes(30)),
        usual("rowan", "foodLow", at(days(3)), minutes(80)),
        passing("rowan", "foodLow", at(days(5)), hours(1)),
      ),
    );
    expect(answers).toMatchObject({ answered: 3, medianTime: minutes(30) });
    expect(answers.unanswered).toHaveLength(1);
  });
  it("are none where nobody answered", () => {
    const { answers } = ratesOf(history(passing("rowan", "foodLow", at(days(5)), hours(1))));
    expect(answers).toMatchObject({ answered: 0, medianTime: null });
  });
});

describe("a week at each feeder", () => {
  it("is what was raised, by feeders and weeks", () => {
    const twelve = Array.from({ length: 12 }, (_, index) => usual("rowan", "foodLow", at(days(2 * index))));
    const rates = ratesOf(history(...twelve));
    expect(rates.perFeederWeek).toBeCloseTo(12 / (2 * (30 / 7)), 12);
    expect(rates.rangPerFeederWeek).toBeNull();
    expect(ratesOf({ ...history(...twelve), rang: 6 }).rangPerFeederWeek).toBeCloseTo(6 / (2 * (30 / 7)), 12);
    expect(ratesOf({ ...history(), feeders: [] }).perFeederWeek).toBe(0);
  });
  it("counts a feeder from when it was added", () => {
    const two = history(usual("rowan", "foodLow", at(days(16))), usual("larch", "foodLow", at(days(20))));
    const feeders = two.feeders.map((feeder) => ({ ...feeder, addedAt: at(days(feeder.id === "rowan" ? -50 : 16)) }));
    expect(ratesOf({ ...two, feeders }).perFeederWeek).toBeCloseTo(2 / ((30 + 14) / 7), 12);
  });
  it("counts nothing that stood before", () => {
    const early = told("rowan", "foodOut", ["acknowledged", "normal", after(from, 60_000 as Span)]);
    expect(ratesOf(history(early)).raised).toEqual([]);
  });
});

describe("what was set aside", () => {
  it("is counted, notes as well: it must be logged, never lost", () => {
    const { setAside } = ratesOf(
      history(
        told("rowan", "scaleSilent", ["normal", "shelved", at(hours(1))]),
        told("rowan", "foodLow", ["suspected", "suppressedByDesign", at(hours(2))]),
        told("larch", "frostInside", ["suspected", "suppressedByDesign", at(hours(3))]),
      ),
    );
    expect(setAside).toEqual({ shelved: 1, suppressed: 2, outOfService: 0 });
  });
});
