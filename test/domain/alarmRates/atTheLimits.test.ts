import { describe, expect, it } from "vitest";
import { ratesFindings, ratesHeadline, shareText } from "../../../server/domain/alarmRates/findings.ts";
import { frequentAlarms, frequentFaults } from "../../../server/domain/alarmRates/frequentAlarms.ts";
import { followAlarms, type RaisedAlarm } from "../../../server/domain/alarmRates/history.ts";
import { feederWeeks, localDaysBetweenInstants, perDayOf, wholeDays } from "../../../server/domain/alarmRates/load.ts";
import { alarmMeasures } from "../../../server/domain/alarmRates/measures.ts";
import { chatteringAlarms, fleetingAlarms, staleAlarms } from "../../../server/domain/alarmRates/nuisance.ts";
import { type AlarmRates, alarmRates } from "../../../server/domain/alarmRates/rates.ts";
import { remedyText } from "../../../server/domain/alarmRates/remedies.ts";
import type { FaultKind } from "../../../server/domain/faults.ts";
import {
  after,
  before,
  days,
  hours,
  type Instant,
  instantOf,
  minutes,
  seconds,
} from "../../../server/domain/instant.ts";
import { alarmChanges, at, briefAlarm, from, history, ordinaryAlarm, to, zone } from "./alarmChanges.ts";

const raisedAlarm = (different: Partial<RaisedAlarm> = {}): RaisedAlarm => ({
  ...{ feeder: "rowan", fault: "foodLow", priority: "soon", raisedAt: at(hours(5)) },
  ...{ faultGoneAt: null, endedAt: null, acknowledgedAt: null, ...different },
});
const rates = (different: Partial<AlarmRates> = {}): AlarmRates => ({ ...alarmRates(history()), ...different });
const timesOf = <T>(count: number, one: T): T[] => Array.from({ length: count }, () => one);

describe("a measure beside its limit (ANSI/ISA-18.2 clause 16)", () => {
  const isOver = (name: string, different: Partial<AlarmRates>) =>
    alarmMeasures(rates(different)).find((measure) => measure.name.startsWith(name))?.isOverLimit;
  const flood = { from, to: null, alarmCount: 11, firstIndex: 0 };
  const chatter = { feeder: "rowan", fault: "buttonSilent", perMinuteMax: 3, at: from } as const;

  it.each<[string, Partial<AlarmRates>, Partial<AlarmRates>]>([
    ["Audible notifications", { audiblePerFeederWeek: 1 }, { audiblePerFeederWeek: 1.01 }],
    ["Alarms raised, a week", { perFeederWeek: 1 }, { perFeederWeek: 1.01 }],
    ["Alarms a day", { perDay: 288 }, { perDay: 288.1 }],
    ["Most within ten minutes", { worstTenMinutes: 10 }, { worstTenMinutes: 11 }],
    ["Floods", { floods: [] }, { floods: [flood] }],
    ["Chattering", { chattering: [] }, { chattering: [chatter] }],
    ["Fleeting", { fleeting: [] }, { fleeting: [raisedAlarm()] }],
    ["Standing for more than a day", { stale: timesOf(4, raisedAlarm()) }, { stale: timesOf(5, raisedAlarm()) }],
  ])("is over it only beyond the limit itself: %s", (name, within, beyond) => {
    expect(isOver(name, within)).toBe(false);
    expect(isOver(name, beyond)).toBe(true);
  });

  it("is given with its value and its limit", () => {
    const raised = [raisedAlarm({ acknowledgedAt: at(hours(6)) }), raisedAlarm()];
    const of = rates({
      ...{ audiblePerFeederWeek: 0.5, perFeederWeek: 2.345, perDay: 0.009, worstTenMinutes: 7, raised },
      ...{
        floods: [flood],
        chattering: [],
        fleeting: [],
        stale: raised,
        unacknowledged: [raisedAlarm()],
        notes: [from],
      },
    });
    expect(alarmMeasures(of).map(({ value, limit }) => [value, limit])).toEqual([
      ["0.5", "1 at most"],
      ["2.3", "1 at most"],
      ["under 0.01", "144 very likely acceptable, 288 at most"],
      ["7", "10"],
      ["1", "0"],
      ["0", "0"],
      ["0", "0"],
      ["2", "fewer than 5"],
      ["1 of 2", null],
      ["1", null],
      ["1", null],
    ]);
  });

  it("is left out where audible notifications aren't recorded", () => {
    expect(alarmMeasures(rates({ audiblePerFeederWeek: null })).map(({ name }) => name)[0]).toBe(
      "Alarms raised, a week at each feeder",
    );
  });

  it("reads a hundredth as a hundredth", () => {
    const perDay = (value: number) =>
      alarmMeasures(rates({ perDay: value })).find(({ name }) => name.startsWith("Alarms a day"))?.value;
    expect([0, 0.0099, 0.01, 0.126, 12.6].map(perDay)).toEqual(["0", "under 0.01", "0.01", "0.13", "13"]);
  });
});

describe("alarms that come and go, or never end", () => {
  const onset = (second: number, fault: FaultKind = "buttonSilent") => ({
    feeder: "rowan",
    fault,
    at: at(seconds(second)),
  });

  it("chatter from three onsets within a minute on, counted at their worst, the worst first", () => {
    expect(chatteringAlarms([0, 30, 60].map((second) => onset(second)))).toHaveLength(1);
    expect(chatteringAlarms([0, 30, 61].map((second) => onset(second)))).toEqual([]);
    const both = [
      ...[0, 20, 40].map((second) => onset(second, "perchSilent")),
      ...[100, 110, 120, 130, 300, 310, 320].map((second) => onset(second)),
    ];
    expect(chatteringAlarms(both)).toEqual([
      { ...onset(120), perMinuteMax: 4 },
      { ...onset(40, "perchSilent"), perMinuteMax: 3 },
    ]);
  });

  it("are fleeting where the fault was gone within two minutes, before anybody acknowledged it", () => {
    const gone = (after: number, different: Partial<RaisedAlarm> = {}) =>
      fleetingAlarms([raisedAlarm({ faultGoneAt: at((hours(5) + minutes(after)) as never), ...different })]).length;
    expect([gone(1), gone(2), gone(2.01)]).toEqual([1, 1, 0]);
    expect(gone(1, { acknowledgedAt: at((hours(5) + minutes(1)) as never) })).toBe(0);
    expect(gone(1, { acknowledgedAt: at((hours(5) + minutes(1.01)) as never) })).toBe(1);
    expect(fleetingAlarms([raisedAlarm({ endedAt: at(hours(5)) })])).toHaveLength(1);
    expect(fleetingAlarms([raisedAlarm()])).toEqual([]);
  });

  it("are stale after more than a day, not at the day itself", () => {
    const stale = (length: number, endedAt: Instant | null = null) =>
      staleAlarms([raisedAlarm({ raisedAt: before(to, hours(length)), endedAt })], to).length;
    expect([stale(24), stale(24.01), stale(48, to)]).toEqual([0, 1, 0]);
  });
});

describe("the load of a yard", () => {
  it("counts the days that are known whole, and one in which clocks go forward as one", () => {
    expect(wholeDays(from, after(from, hours(47)))).toBe(2); // 23 hours and a day
    expect(wholeDays(from, after(from, hours(45)))).toBe(1);
    expect(perDayOf(2, from, after(from, hours(1)))).toBe(2);
    expect(perDayOf(2, from, after(from, days(4)))).toBe(0.5);
  });

  it("counts at least a week for each feeder", () => {
    const added = (...addedAt: Instant[]) => addedAt.map((at, n) => ({ id: `${n}`, name: `${n}`, addedAt: at }));
    expect(feederWeeks(added(before(from, days(9)), at(days(29))), from, at(days(30)))).toBeCloseTo(30 / 7 + 1, 9);
    expect(feederWeeks([], from, to)).toBe(0);
  });

  it("has no day that begins at its end", () => {
    const midnight = instantOf("2026-01-03T00:00:00+01:00");
    expect(localDaysBetweenInstants(from, midnight, zone)).toEqual(["2026-01-01", "2026-01-02"]);
    expect(localDaysBetweenInstants(from, after(midnight, seconds(1)), zone)).toHaveLength(3);
    expect(localDaysBetweenInstants(from, from, zone)).toEqual([]);
  });

  it("counts notes and alarms from its beginning on, that moment included", () => {
    const note = (hour: number) => briefAlarm("rowan", "frostInside", at(hours(hour)), minutes(5));
    const alarm = (hour: number) => briefAlarm("larch", "foodLow", at(hours(hour)), minutes(5));
    const of = alarmRates(history(note(-1), note(0), note(1), alarm(-1), alarm(0)));
    expect(of.notes).toEqual([from, at(hours(1))]);
    expect(of.raised.map(({ raisedAt }) => raisedAt)).toEqual([from]);
  });

  it("names the most frequent alarm first, and a fault's only feeder", () => {
    const raised = [
      ...timesOf(1, raisedAlarm({ fault: "iceLock" })),
      ...timesOf(2, raisedAlarm({ feeder: "larch" })),
      ...timesOf(1, raisedAlarm()),
    ];
    expect(
      frequentAlarms(raised).map(({ feeder, fault, alarmCount, share }) => [feeder, fault, alarmCount, share]),
    ).toEqual([
      ["larch", "foodLow", 2, 0.5],
      ["rowan", "iceLock", 1, 0.25],
      ["rowan", "foodLow", 1, 0.25],
    ]);
    expect(frequentFaults(raised).map(({ feeder, fault, alarmCount }) => [feeder, fault, alarmCount])).toEqual([
      ["", "foodLow", 3],
      ["rowan", "iceLock", 1],
    ]);
  });
});

describe("what the log doesn't show", () => {
  it("began before it, where its first row finds a fault that was suspected or active already", () => {
    const onsets = (...arrow: Parameters<typeof alarmChanges>[2]) =>
      followAlarms(history(alarmChanges("rowan", "foodLow", arrow))).onsets;
    expect(onsets("suspected", "unacknowledged", at(hours(1)), true)).toEqual([]);
    expect(onsets("unacknowledged", "acknowledged", at(hours(1)), true)).toEqual([]);
    expect(onsets("acknowledged", "acknowledged", at(hours(1)), false)).toEqual([]);
    expect(onsets("normal", "suspected", at(hours(1)), true)).toHaveLength(1);
    expect(onsets("shelved", "unacknowledged", at(hours(1)), true)).toHaveLength(1);
    expect(onsets("shelved", "shelved", at(hours(1)), true)).toHaveLength(1);
  });

  it("is when a latched fault went that returns from its shelf", () => {
    const { raised } = followAlarms(
      history(
        alarmChanges(
          "rowan",
          "motorStalled",
          ["shelved", "latchedUnacknowledged", at(hours(4)), false],
          ["latchedUnacknowledged", "latchedAcknowledged", at(hours(6)), false],
        ),
      ),
    );
    expect(raised).toMatchObject([{ raisedAt: at(hours(4)), faultGoneAt: null, acknowledgedAt: at(hours(6)) }]);
  });

  it("doesn't change what it shows: an alarm raised within the log has the time of its row", () => {
    const alarm = { feeder: "rowan", fault: "foodLow", priority: "soon", raisedAt: at(hours(2)) } as const;
    const logged = alarmChanges("rowan", "foodLow", ["normal", "unacknowledged", at(hours(3))]);
    expect(followAlarms({ ...history(logged), standing: [alarm] }).raised.map(({ raisedAt }) => raisedAt)).toEqual([
      at(hours(3)),
    ]);
  });

  it("is the order of the rows of one moment: each alarm's transitions follow each other all the same", () => {
    const [suspected, raised, acknowledged] = alarmChanges(
      "rowan",
      "foodLow",
      ["normal", "suspected", at(hours(1))],
      ["suspected", "unacknowledged", at(hours(1))],
      ["unacknowledged", "acknowledged", at(hours(1))],
    );
    if (!suspected || !raised || !acknowledged) throw new Error("expected three changes");
    const larch = ordinaryAlarm("larch", "foodLow", at(hours(1)));
    const inOrder = followAlarms({ ...history(), changes: [suspected, raised, acknowledged, ...larch] });
    expect(inOrder.raised).toMatchObject([
      { feeder: "rowan", raisedAt: at(hours(1)), acknowledgedAt: at(hours(1)) },
      {},
    ]);
    expect(inOrder.onsets).toHaveLength(2);
    for (const rows of [
      [acknowledged, raised, suspected],
      [raised, acknowledged, suspected],
      [acknowledged, suspected, raised],
    ])
      expect(followAlarms({ ...history(), changes: [...rows, ...larch] })).toEqual(inOrder);
  });

  it("has no acknowledgement where an alarm was only forgotten after a day", () => {
    const forgotten = (hour: number) =>
      followAlarms(
        history(
          alarmChanges(
            "rowan",
            "foodLow",
            ["normal", "unacknowledged", at(hours(1))],
            ["unacknowledged", "returnedUnacknowledged", at(hours(2))],
            ["returnedUnacknowledged", "normal", at(hours(2 + hour))],
          ),
        ),
      ).raised[0]?.acknowledgedAt;
    expect(forgotten(23.8)).toBe(at(hours(25.8)));
    expect(forgotten(23.9)).toBeNull();
  });

  it("shows an alarm that is suppressed twice as the same alarm", () => {
    const { raised } = followAlarms(
      history(
        alarmChanges(
          "rowan",
          "scaleSilent",
          ["normal", "unacknowledged", at(hours(1))],
          ["unacknowledged", "suppressedByDesign", at(hours(2))],
          ["suppressedByDesign", "unacknowledged", at(hours(3))],
          ["unacknowledged", "suppressedByDesign", at(hours(4))],
          ["suppressedByDesign", "normal", at(hours(5))],
          ["normal", "unacknowledged", at(hours(6))],
        ),
      ),
    );
    expect(raised.map(({ raisedAt, endedAt }) => [raisedAt, endedAt])).toEqual([
      [at(hours(1)), at(hours(4))],
      [at(hours(6)), null],
    ]);
  });
});

describe("a finding", () => {
  const kinds = (different: Partial<AlarmRates>) => ratesFindings(rates(different)).map(({ kind }) => kind);
  const textOf = (kind: string, different: Partial<AlarmRates>) =>
    ratesFindings(rates(different)).find((finding) => finding.kind === kind)?.text;
  const urgent = raisedAlarm({ fault: "foodOut", priority: "urgent", endedAt: at(hours(6)) });

  it("of unacknowledged alarms counts the urgent ones alone", () => {
    const raised = [...timesOf(5, raisedAlarm()), urgent, urgent];
    const text = (unacknowledged: readonly RaisedAlarm[]) => textOf("unacknowledged", { raised, unacknowledged });
    expect(text([urgent, urgent, raisedAlarm()])).toMatch(
      /^2 of 2 urgent alarms were not acknowledged\. The last was “Hopper empty” at Rowan\. See/,
    );
    expect(text([urgent, ...timesOf(5, raisedAlarm())])).toBeUndefined();
  });

  it("of unacknowledged alarms needs a third of the urgent ones", () => {
    const found = (count: number) => kinds({ raised: timesOf(count, urgent), unacknowledged: [urgent, urgent] });
    expect(found(6)).toContain("unacknowledged");
    expect(found(7)).not.toContain("unacknowledged");
  });

  it("of too many alarms needs four of them, more than one a week, and a week", () => {
    const found = (different: Partial<AlarmRates>) =>
      kinds({ perFeederWeek: 1.1, raised: timesOf(4, raisedAlarm()), ...different }).includes("tooMany");
    expect(found({})).toBe(true);
    expect(found({ perFeederWeek: 1 })).toBe(false);
    expect(found({ raised: timesOf(3, raisedAlarm()) })).toBe(false);
    expect(found({ to: at(days(7)) })).toBe(true);
    expect(found({ to: before(at(days(7)), seconds(1)) })).toBe(false);
    expect(found({ audiblePerFeederWeek: 0.9 })).toBe(false); // what people were notified of counts before what was raised
  });

  it("of one alarm's load needs half of all and four of them, and names a feeder that has far more of it than the others", () => {
    const load = (rowan: number, larch: number, others: number) => {
      const raised = [
        ...timesOf(rowan, raisedAlarm()),
        ...timesOf(larch, raisedAlarm({ feeder: "larch" })),
        ...timesOf(others, raisedAlarm({ fault: "iceLock" })),
      ];
      return textOf("load", { raised, frequentAlarms: frequentAlarms(raised) })?.split(":")[0];
    };
    expect(load(4, 0, 4)).toBe("“Food low” at Rowan makes half of all alarms (4 of 8)");
    expect(load(4, 0, 5)).toBe("“Ice likely on tray and slot” at Rowan makes half of all alarms (5 of 9)");
    expect(load(3, 0, 3)).toBeUndefined();
    expect(load(7, 3, 0)).toBe("“Food low” makes all alarms (10 of 10)");
    expect(load(8, 3, 0)).toBe("“Food low” at Rowan makes three quarters of all alarms (8 of 11)");
  });

  it("names at most three alarms of one kind", () => {
    const five = (["scaleSilent", "chuteBlind", "perchSilent", "buttonSilent", "supplyWeak"] as const).map((fault) =>
      raisedAlarm({ fault, raisedAt: at(days(20)) }),
    );
    const chattering = five.map(({ feeder, fault }) => ({ feeder, fault, perMinuteMax: 3, at: from }));
    expect(kinds({ stale: five })).toEqual(timesOf(3, "stale"));
    expect(kinds({ chattering })).toEqual(timesOf(3, "chatter"));
    expect(kinds({ fleeting: [...five, ...five] })).toEqual(timesOf(3, "fleeting"));
    expect(kinds({ fleeting: five })).toEqual([]); // once each
  });

  it("gives the age of a stale alarm in hours for two days, then in days", () => {
    const age = (span: number) =>
      textOf("stale", { stale: [raisedAlarm({ raisedAt: before(to, hours(span)) })] })?.match(/for ([^.]*)\./)?.[1];
    expect([25.4, 47.9, 48, 71].map(age)).toEqual(["25 hours", "48 hours", "2 days", "2 days"]);
  });

  it("gives the length of a flood in minutes, one at least, and names what came most often only if it came again", () => {
    const raised = [raisedAlarm(), ...timesOf(10, raisedAlarm({ feeder: "larch", fault: "iceLock" }))];
    const flood = (length: number, alarms: readonly RaisedAlarm[] = raised) =>
      textOf("flood", {
        raised: alarms,
        floods: [{ from: at(hours(5)), to: at((hours(5) + length * 1_000) as never), alarmCount: 11, firstIndex: 0 }],
      });
    expect(flood(20)).toContain("and lasted 1 minute.");
    expect(flood(89)).toContain("and lasted 1 minute.");
    expect(flood(90)).toContain("and lasted 2 minutes.");
    expect(flood(90)).toContain(
      "It began with “Food low” at Rowan; “Ice likely on tray and slot” at Larch came 10 times.",
    );
    expect(flood(90)).not.toContain("worst of");
    const different = Array.from({ length: 11 }, (_, n) => raisedAlarm({ feeder: `f${n}` }));
    expect(flood(90, different)).toContain("It began with “Food low”. Check");
  });

  it("comes in the order of its importance", () => {
    const raised = timesOf(12, urgent);
    expect(
      kinds({
        ...{
          raised,
          perFeederWeek: 3,
          frequentAlarms: frequentAlarms(raised),
          unacknowledged: raised,
          stale: [urgent],
        },
        ...{ floods: [{ from, to: null, alarmCount: 11, firstIndex: 0 }], fleeting: raised },
        chattering: [{ feeder: "rowan", fault: "foodOut", perMinuteMax: 3, at: from }],
      }),
    ).toEqual(["flood", "tooMany", "load", "chatter", "unacknowledged", "stale", "fleeting"]);
  });
});

describe("the text of a rate", () => {
  it("changes its fraction where the next one is nearer", () => {
    const shares = [0.995, 0.9949, 0.9, 0.899, 0.71, 0.709, 0.62, 0.619, 0.45, 0.449, 0.29, 0.289];
    expect(shares.map((share) => shareText(share).replace(/ (of all )?alarms$/, ""))).toEqual([
      ...["all", "nearly all", "nearly all", "three quarters", "three quarters", "two thirds"],
      ...["two thirds", "half", "half", "a third", "a third", "29 %"],
    ]);
  });

  it("gives a rate a week only from a week on, and none that reads as zero", () => {
    const line = (different: Partial<AlarmRates>) =>
      ratesHeadline(rates({ raised: timesOf(2, raisedAlarm()), ...different }))[0];
    expect(line({ days: 7, perFeederWeek: 0.1 })).toBe("2 alarms in 7 days at 2 feeders: 0.1 a week at each.");
    expect(line({ days: 30, perFeederWeek: 0.099 })).toBe(
      "2 alarms in 30 days at 2 feeders: less than one in ten weeks at each.",
    );
    expect(line({ days: 6, perFeederWeek: 2 })).toBe("2 alarms in 6 days at 2 feeders.");
    expect(ratesHeadline(rates({ days: 29 }))).toHaveLength(2);
    expect(ratesHeadline(rates({ days: 30 }))).toHaveLength(1);
  });

  it("is followed by the fault's own advice where no remedy is known", () => {
    expect(remedyText("motorStalled")).not.toBe("");
    expect(remedyText("motorStalled")).toMatch(/^[a-z]/);
  });
});
