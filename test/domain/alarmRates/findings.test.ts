import { describe, expect, it } from "vitest";
import { ratesFindings, ratesHeadline, remedyText } from "../../../server/domain/alarmRates/findings.ts";
import type { YardAlarmChange } from "../../../server/domain/alarmRates/history.ts";
import { type AlarmHistory, alarmRates } from "../../../server/domain/alarmRates/rates.ts";
import { faultKinds } from "../../../server/domain/faults.ts";
import { after, days, hours, minutes, seconds } from "../../../server/domain/instant.ts";
import { at, briefAlarm, from, history, ordinaryAlarm } from "./alarmChanges.ts";

const found = (...alarms: readonly (readonly YardAlarmChange[])[]) => ratesFindings(alarmRates(history(...alarms)));
const kinds = (...alarms: readonly (readonly YardAlarmChange[])[]) => found(...alarms).map(({ kind }) => kind);
const textOf = (kind: string, ...alarms: readonly (readonly YardAlarmChange[])[]) =>
  found(...alarms).find((finding) => finding.kind === kind)?.text;

const many = (count: number, feeder: string, fault: "iceLock" | "foodLow" | "feederSilent", every = 2) =>
  Array.from({ length: count }, (_, index) => ordinaryAlarm(feeder, fault, at(days(every * index + 0.3))));

describe("what to change", () => {
  it("is nothing, where a few alarms were acknowledged", () => {
    expect(found(...many(3, "rowan", "iceLock"), ...many(2, "larch", "foodLow"))).toEqual([]);
  });

  it("names the alarm that makes half of the load with the feeder that has most of it, and what to do", () => {
    expect(textOf("load", ...many(8, "rowan", "iceLock"), ...many(4, "larch", "foodLow"))).toBe(
      "“Ice likely on tray and slot” at Rowan makes 8 of 12 alarms: " +
        "it is the water in them that freezes. Let the tray drain, and give tray and slot a roof.",
    );
  });

  it("names the fault alone where several feeders have it", () => {
    expect(textOf("load", ...many(4, "rowan", "foodLow"), ...many(4, "larch", "foodLow"))).toMatch(
      /^“Food low” makes 8 of 8 alarms: fill the hopper when the digest asks/,
    );
  });

  it("names no load where no alarm makes half of it, or where there are few", () => {
    const three = [...many(4, "rowan", "iceLock"), ...many(4, "rowan", "foodLow"), ...many(4, "larch", "feederSilent")];
    expect(kinds(...three)).not.toContain("load");
    expect(kinds(...many(3, "rowan", "iceLock"))).not.toContain("load");
  });

  it("is more than one alarm a week at each feeder", () => {
    expect(textOf("tooMany", ...many(12, "rowan", "iceLock"))).toBe(
      "More than one alarm a week at each feeder is too many: people stop reading them.",
    );
    expect(kinds(...many(8, "rowan", "iceLock"))).not.toContain("tooMany");
  });

  it("is no rate of a yard's first week, when alarms are tried", () => {
    const tried = (known: number): AlarmHistory => ({
      ...history(...many(40, "rowan", "iceLock", 0.1)),
      to: at(days(known)),
    });
    const hasTooMany = (known: number) =>
      ratesFindings(alarmRates(tried(known))).some(({ kind }) => kind === "tooMany");
    expect(hasTooMany(6.9)).toBe(false);
    expect(hasTooMany(7)).toBe(true);
  });

  it("names the worst ten minutes with more than ten alarms, and what came first", () => {
    const crowd = (begins: number, count: number) =>
      Array.from({ length: count }, (_, index) =>
        briefAlarm("larch", "feederSilent", after(at(days(begins)), seconds(20 * index)), seconds(5)),
      );
    const first = ordinaryAlarm("rowan", "feederSilent", after(at(days(12)), seconds(-5)));
    expect(textOf("flood", first, ...crowd(12, 12), ...crowd(20, 11))).toBe(
      "13 alarms came within ten minutes, from Monday 12 January 23:59. The first was “No reports” at Rowan. " +
        "Check what they share, for example power or network.",
    );
    expect(kinds(...crowd(12, 10))).not.toContain("flood");
    expect(kinds(...crowd(12, 11))).toContain("flood");
  });

  it("names each alarm that has been active for more than a day, the longest first", () => {
    const active = [20.5, 28.5, 29.2].map((day, index) => ({
      feeder: index === 1 ? "removed" : "larch",
      fault: "scaleSilent" as const,
      priority: "soon" as const,
      raisedAt: at(days(day)),
    }));
    const note = { feeder: "larch", fault: "frostInside", priority: "note", raisedAt: at(days(2)) } as const;
    expect(
      ratesFindings(alarmRates({ ...history(), active: [...active.reverse(), note] })).map(({ text }) => text),
    ).toEqual([
      "“Scale not working” at Larch has been active for 9 days. Repair it, or take it out of service.",
      "“Scale not working” has been active for 36 hours. Repair it, or take it out of service.",
    ]);
  });

  it("names what ended before anybody could act, when it happens again", () => {
    const once = briefAlarm("rowan", "trayJammed", at(days(1)), minutes(1));
    expect(kinds(once)).not.toContain("fleeting");
    expect(textOf("fleeting", once, briefAlarm("rowan", "trayJammed", at(days(4)), minutes(2)))).toMatch(
      /^“Tray jammed” at Rowan ended within two minutes, twice: a tray that jams/,
    );
    const longer = briefAlarm("rowan", "trayJammed", at(days(4)), minutes(3));
    expect(kinds(once, longer)).not.toContain("fleeting");
    const seen = ordinaryAlarm("rowan", "trayJammed", at(days(4)), seconds(30), minutes(1));
    expect(kinds(once, seen)).not.toContain("fleeting");
  });

  it("names urgent alarms that nobody acknowledged", () => {
    const unseen = [1, 4].map((day) => briefAlarm("rowan", "foodOut", at(days(day)), hours(5)));
    expect(textOf("unacknowledged", ...unseen)).toMatch(
      /^2 of 2 urgent alarms were not acknowledged\. The last was “Hopper empty” at Rowan\./,
    );
    const seen = Array.from({ length: 5 }, (_, index) => ordinaryAlarm("larch", "foodOut", at(days(8 + 2 * index))));
    expect(kinds(...unseen, ...seen)).not.toContain("unacknowledged");
  });

  it("has a remedy for every fault, in lower case after a colon", () => {
    for (const fault of faultKinds) expect(remedyText(fault)).toMatch(/^[a-z].*\.$/);
  });
});

describe("the headline", () => {
  it("states how many, how long and how often", () => {
    const alarms = [...many(3, "rowan", "iceLock"), briefAlarm("larch", "frostInside", at(days(2)), hours(8))];
    expect(ratesHeadline(alarmRates(history(...alarms)))).toBe(
      "3 alarms in 30 days at 2 feeders: 0.4 a week at each. 1 note in the daily digest.",
    );
    expect(ratesHeadline(alarmRates(history()))).toBe("No alarm in 30 days at 2 feeders.");
    const feeders = Array.from({ length: 5 }, (_, index) => ({ id: `f${index}`, name: `F${index}`, addedAt: from }));
    expect(ratesHeadline(alarmRates({ ...history(ordinaryAlarm("f0", "foodLow", at(days(3)))), feeders }))).toBe(
      "1 alarm in 30 days at 5 feeders: less than one in ten weeks at each.",
    );
  });

  it("states no rate of a few days", () => {
    const first = ordinaryAlarm("rowan", "foodLow", at(minutes(5)), minutes(1), minutes(9));
    const headline = (span: number) => ratesHeadline(alarmRates({ ...history(first), to: at(days(span)) }));
    expect(headline(0.1)).toBe("1 alarm in less than a day at 2 feeders.");
    expect(headline(1.2)).toBe("1 alarm in 1 day at 2 feeders.");
    expect(headline(6.9)).toBe("1 alarm in 6 days at 2 feeders.");
    expect(headline(7)).toBe("1 alarm in 7 days at 2 feeders: 0.5 a week at each.");
  });

  it("states that a yard has no feeder", () => {
    expect(ratesHeadline(alarmRates({ ...history(), feeders: [] }))).toBe(
      "This yard has no feeder yet, so there are no alarms.",
    );
  });
});
