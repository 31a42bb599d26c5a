import { describe, expect, it } from "vitest";
import { ratesFindings, ratesHeadline } from "../../../server/domain/alarmRates/findings.ts";
import type { RaisedAlarm } from "../../../server/domain/alarmRates/history.ts";
import { type AlarmRates, alarmRates } from "../../../server/domain/alarmRates/rates.ts";
import { after, before, days, hours, type Instant, minutes, seconds } from "../../../server/domain/instant.ts";
import { at, from, history, to } from "./alarmChanges.ts";

const raisedAlarm = (different: Partial<RaisedAlarm> = {}): RaisedAlarm => ({
  ...{ feeder: "rowan", fault: "foodLow", priority: "soon", raisedAt: at(hours(5)) },
  ...{ endedAt: null, acknowledgedAt: null, ...different },
});
const rates = (different: Partial<AlarmRates> = {}): AlarmRates => ({ ...alarmRates(history()), ...different });
const timesOf = <T>(count: number, one: T): T[] => Array.from({ length: count }, () => one);
/** Raised an hour apart, so that they are no flood. */
const hourly = (alarms: readonly RaisedAlarm[]): RaisedAlarm[] =>
  alarms.map((alarm, index) => ({ ...alarm, raisedAt: at(hours(index)) }));

describe("the load of a yard", () => {
  it("counts at least a week for each feeder", () => {
    const added = (...addedAt: Instant[]) => addedAt.map((at, n) => ({ id: `${n}`, name: `${n}`, addedAt: at }));
    const feeders = added(before(from, days(9)), at(days(29)));
    const one = alarmRates({
      ...history(),
      feeders,
      changes: [
        { feeder: "0", fault: "foodLow", priority: "soon", from: "normal", to: "unacknowledged", at: at(days(3)) },
      ],
    });
    expect(one.perFeederWeek).toBeCloseTo(1 / (30 / 7 + 1), 9);
  });

  it("has stale alarms after more than a day, not at the day itself: of the table: alm-stale", () => {
    const active = (raisedAt: Instant) => [{ feeder: "rowan", fault: "foodLow", priority: "soon", raisedAt } as const];
    const stale = (raisedAt: Instant) => alarmRates({ ...history(), active: active(raisedAt) }).stale.length;
    expect(stale(before(to, days(1)))).toBe(0);
    expect(stale(before(before(to, days(1)), seconds(1)))).toBe(1);
  });
});

describe("a flood", () => {
  it("begins with more than ten alarms within ten minutes: of the table: alm-flood, alm-flood-example", () => {
    const found = (...minute: number[]) =>
      ratesFindings(rates({ raised: minute.map((after) => raisedAlarm({ raisedAt: at(minutes(after)) })) })).some(
        ({ kind }) => kind === "flood",
      );
    expect(found(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 9.5)).toBe(true);
    expect(found(0, 1, 2, 3, 4, 5, 6, 7, 8, 9)).toBe(false);
    expect(found(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10.5)).toBe(false);
  });
});

describe("a finding", () => {
  const kinds = (different: Partial<AlarmRates>) => ratesFindings(rates(different)).map(({ kind }) => kind);
  const textOf = (kind: string, different: Partial<AlarmRates>) =>
    ratesFindings(rates(different)).find((finding) => finding.kind === kind)?.text;
  const urgent = raisedAlarm({ fault: "foodOut", priority: "urgent", endedAt: at(hours(6)) });

  it("of unacknowledged alarms counts the urgent ones that have ended, and these alone", () => {
    const raised = [...timesOf(5, raisedAlarm({ endedAt: at(hours(6)) })), urgent, urgent];
    expect(textOf("unacknowledged", { raised })).toMatch(
      /^2 of 2 urgent alarms were not acknowledged\. The last was “Hopper empty” at Rowan\. See/,
    );
    expect(kinds({ raised: [urgent, { ...urgent, endedAt: null }] })).not.toContain("unacknowledged");
    expect(kinds({ raised: [urgent] })).not.toContain("unacknowledged");
  });

  it("of unacknowledged alarms needs a third of the urgent ones", () => {
    const answered = { ...urgent, acknowledgedAt: at(hours(5.5)) };
    const found = (count: number) => kinds({ raised: hourly([urgent, urgent, ...timesOf(count, answered)]) });
    expect(found(4)).toContain("unacknowledged");
    expect(found(5)).not.toContain("unacknowledged");
  });

  it("of too many alarms needs four of them, more than one a week, and a week", () => {
    const found = (different: Partial<AlarmRates>) =>
      kinds({ perFeederWeek: 1.1, raised: timesOf(4, raisedAlarm()), ...different }).includes("tooMany");
    expect(found({})).toBe(true);
    expect(found({ perFeederWeek: 1 })).toBe(false);
    expect(found({ raised: timesOf(3, raisedAlarm()) })).toBe(false);
    expect(found({ to: at(days(7)) })).toBe(true);
    expect(found({ to: before(at(days(7)), seconds(1)) })).toBe(false);
  });

  it("of a load needs half of all and four of them, and names a feeder that has far more of it than the others", () => {
    const load = (rowan: number, larch: number, others: number) => {
      const raised = hourly([
        ...timesOf(rowan, raisedAlarm()),
        ...timesOf(larch, raisedAlarm({ feeder: "larch" })),
        ...timesOf(others, raisedAlarm({ fault: "iceLock" })),
      ]);
      return textOf("load", { raised })?.split(":")[0];
    };
    expect(load(4, 0, 4)).toBe("“Food low” at Rowan makes 4 of 8 alarms");
    expect(load(4, 0, 5)).toBe("“Ice likely on tray and slot” at Rowan makes 5 of 9 alarms");
    expect(load(3, 0, 3)).toBeUndefined();
    expect(load(7, 3, 0)).toBe("“Food low” makes 10 of 10 alarms");
    expect(load(8, 3, 0)).toBe("“Food low” at Rowan makes 8 of 11 alarms");
  });

  it("of fleeting alarms names three at most, each that came twice", () => {
    const brief = (["scaleSilent", "chuteBlind", "perchSilent", "buttonSilent"] as const).map((fault) =>
      raisedAlarm({ fault, endedAt: at(hours(5)) }),
    );
    expect(kinds({ raised: [...brief, ...brief] }).filter((kind) => kind === "fleeting")).toHaveLength(3);
    expect(kinds({ raised: brief })).not.toContain("fleeting");
  });

  it("gives the age of a stale alarm in hours for two days, then in days", () => {
    const age = (span: number) =>
      textOf("stale", { stale: [raisedAlarm({ raisedAt: before(to, hours(span)) })] })?.match(/for ([^.]*)\./)?.[1];
    expect([25.4, 47.9, 48, 71].map(age)).toEqual(["25 hours", "48 hours", "2 days", "2 days"]);
  });

  it("comes in the order of its importance", () => {
    const raised = timesOf(12, { ...urgent, endedAt: after(urgent.raisedAt, minutes(1)) });
    expect(kinds({ raised, perFeederWeek: 3, stale: [urgent] })).toEqual([
      "flood",
      "tooMany",
      "load",
      "unacknowledged",
      "stale",
      "fleeting",
    ]);
  });
});

describe("the headline's rate", () => {
  it("is given from a week on, and never reads as zero", () => {
    const line = (different: Partial<AlarmRates>) =>
      ratesHeadline(rates({ raised: timesOf(2, raisedAlarm()), ...different }));
    expect(line({ days: 7, perFeederWeek: 0.1 })).toBe("2 alarms in 7 days at 2 feeders: 0.1 a week at each.");
    expect(line({ days: 30, perFeederWeek: 0.099 })).toBe(
      "2 alarms in 30 days at 2 feeders: less than one in ten weeks at each.",
    );
    expect(line({ days: 6, perFeederWeek: 2 })).toBe("2 alarms in 6 days at 2 feeders.");
  });
});
