import { describe, expect, it } from "vitest";
import { ratesFindings, ratesHeadline, shareText } from "../../../server/domain/alarmRates/findings.ts";
import type { AlarmHistory, YardAlarmChange } from "../../../server/domain/alarmRates/history.ts";
import { alarmMeasures } from "../../../server/domain/alarmRates/measures.ts";
import { type AlarmRates, alarmRates } from "../../../server/domain/alarmRates/rates.ts";
import { remedyText } from "../../../server/domain/alarmRates/remedies.ts";
import { faultKinds } from "../../../server/domain/faults.ts";
import { after, days, hours, minutes, seconds } from "../../../server/domain/instant.ts";
import { alarmChanges, at, briefAlarm, from, history, ordinaryAlarm } from "./alarmChanges.ts";

const found = (...alarms: readonly (readonly YardAlarmChange[])[]) => ratesFindings(alarmRates(history(...alarms)));
const kinds = (...alarms: readonly (readonly YardAlarmChange[])[]) => found(...alarms).map(({ kind }) => kind);
const wordsOf = (kind: string, ...alarms: readonly (readonly YardAlarmChange[])[]) =>
  found(...alarms).find((finding) => finding.kind === kind)?.text;

const many = (count: number, feeder: string, fault: "iceLock" | "foodLow" | "feederSilent", every = 2) =>
  Array.from({ length: count }, (_, index) => ordinaryAlarm(feeder, fault, at(days(every * index + 0.3))));

describe("what to change", () => {
  it("is nothing, where a few alarms were seen to", () => {
    expect(found(...many(3, "rowan", "iceLock"), ...many(2, "larch", "foodLow"))).toEqual([]);
  });

  it("names the very alarm that makes most of the load, and what to do about it", () => {
    expect(wordsOf("load", ...many(8, "rowan", "iceLock"), ...many(4, "larch", "foodLow"))).toBe(
      "“Ice likely on tray and slot” at Rowan makes two thirds of all alarms (8 of 12): " +
        "it is the water in them that freezes. Let the tray drain, and give tray and slot a roof.",
    );
  });

  it("names no single feeder where all of them have it", () => {
    expect(wordsOf("load", ...many(4, "rowan", "foodLow"), ...many(4, "larch", "foodLow"))).toMatch(
      /^“Food low” makes all alarms \(8 of 8\): fill the hopper when the digest asks/,
    );
  });

  it("is said of more than one alarm a week at each feeder", () => {
    expect(wordsOf("tooMany", ...many(12, "rowan", "iceLock"))).toBe(
      "1.4 alarms were raised a week at each feeder. With more than one, people stop reading them.",
    );
    expect(kinds(...many(8, "rowan", "iceLock"))).not.toContain("tooMany");
    const rang: AlarmHistory = { ...history(...many(8, "rowan", "iceLock")), audibleNotifications: 30 };
    expect(ratesFindings(alarmRates(rang)).find(({ kind }) => kind === "tooMany")?.text).toMatch(
      /^3.5 pushes rang a week/,
    );
  });

  it("isn't said of a rate in a yard's first week, when whoever sets it up tries what it does", () => {
    const tried = (known: number): AlarmHistory => ({
      ...history(...many(40, "rowan", "iceLock", 0.1)),
      to: at(days(known)),
    });
    const ofRate = (known: number) => ratesFindings(alarmRates(tried(known))).some(({ kind }) => kind === "tooMany");
    expect(ofRate(6.9)).toBe(false);
    expect(ofRate(7)).toBe(true);
  });

  it("tells a flood's time, length and beginning", () => {
    const crowd = Array.from({ length: 12 }, (_, index) =>
      alarmChanges("larch", "feederSilent", ["normal", "unacknowledged", after(at(days(12)), seconds(20 * index))]).map(
        (change) => ({ ...change, feeder: `f${index}` }),
      ),
    );
    const first = ordinaryAlarm("rowan", "feederSilent", after(at(days(12)), seconds(-5)));
    expect(wordsOf("flood", first, ...crowd)).toMatch(
      /^A flood of 13 alarms began Tuesday 13 January 00:03 and lasted 9 minutes\. It began with “No reports” at Rowan\. Check what/,
    );
  });

  it("tells a flood that goes on, the worst of several, and what came most often in it", () => {
    const crowd = (begins: number, count: number) =>
      Array.from({ length: count }, (_, index) =>
        briefAlarm("rowan", "foodLow", after(at(days(begins)), seconds(20 * index)), seconds(5)),
      );
    const words = wordsOf("flood", ...crowd(12, 11), ...crowd(20, 14));
    expect(words).toMatch(/^A flood of 14 alarms began Wednesday 21 January 00:03 .* It was the worst of 2\. /);
    expect(words).toContain("It began with “Food low” at Rowan; “Food low” at Rowan came 14 times.");
    const still = ratesFindings(alarmRates({ ...history(...crowd(12, 11)), to: at(days(12.002)) }));
    expect(still.find(({ kind }) => kind === "flood")?.text).toContain("and goes on");
  });

  it("names an alarm without its feeder, where that is gone, and a day's length in hours", () => {
    const standing = alarmChanges("larch", "scaleSilent", ["normal", "unacknowledged", at(days(28.5))]);
    const gone = { ...history(standing), feeders: history().feeders.slice(0, 1) };
    const [finding] = ratesFindings(alarmRates(gone));
    expect(finding?.text).toMatch(/^“Scale not working” has been active for 36 hours\./);
  });

  it("names what chatters", () => {
    const flicker = [0, 15, 30, 45].flatMap((second) => [
      ["normal", "unacknowledged", after(at(days(3)), seconds(second)), true] as const,
      ["unacknowledged", "normal", after(at(days(3)), seconds(second + 5)), false] as const,
    ]);
    expect(wordsOf("chatter", alarmChanges("rowan", "sensorChattering", ...flicker))).toBe(
      "“Sensor counts too much” at Rowan came and went 4 times within 1 minute, first Sunday 4 January 00:00. " +
        "Take it out of service until it is repaired. Then: dry the contact and seal it: damp comes back with each thaw.",
    );
  });

  it("names what has stood for days", () => {
    const standing = alarmChanges("larch", "scaleSilent", ["normal", "unacknowledged", at(days(20.5))]);
    expect(wordsOf("stale", standing)).toBe(
      "“Scale not working” at Larch has been active for 9 days. " + "Repair it, or take it out of service.",
    );
  });

  it("names what was gone before anybody could look, when it happens again", () => {
    const once = briefAlarm("rowan", "trayJammed", at(days(1)), minutes(1));
    expect(kinds(once)).not.toContain("fleeting");
    expect(wordsOf("fleeting", once, briefAlarm("rowan", "trayJammed", at(days(4)), minutes(1)))).toMatch(
      /^“Tray jammed” at Rowan ended within two minutes, twice/,
    );
  });

  it("asks for somebody who answers, where urgent alarms pass unseen", () => {
    const unseen = [1, 4].map((day) => briefAlarm("rowan", "foodOut", at(days(day)), hours(5)));
    expect(wordsOf("unacknowledged", ...unseen)).toMatch(
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
  it("says how many, how long and how often", () => {
    const alarms = [...many(3, "rowan", "iceLock"), briefAlarm("larch", "frostInside", at(days(2)), hours(8))];
    expect(ratesHeadline(alarmRates(history(...alarms)))).toEqual([
      "3 alarms in 30 days at 2 feeders: 0.4 a week at each. Besides, 1 note for the digest, which calls nobody.",
    ]);
    expect(ratesHeadline(alarmRates(history()))).toEqual(["No alarm in 30 days at 2 feeders."]);
    const feeders = Array.from({ length: 5 }, (_, index) => ({ id: `f${index}`, name: `F${index}`, addedAt: from }));
    expect(ratesHeadline(alarmRates({ ...history(ordinaryAlarm("f0", "foodLow", at(days(3)))), feeders }))).toEqual([
      "1 alarm in 30 days at 5 feeders: less than one in ten weeks at each.",
    ]);
  });

  it("says how many days are known where they are fewer than the standard wants", () => {
    const young = (span: number) => ratesHeadline(alarmRates({ ...history(), to: at(days(span)) }));
    expect(young(12)[1]).toBe("Only 12 days are known yet. The standard wants 30 before one judges.");
    const first = history(ordinaryAlarm("rowan", "foodLow", at(minutes(5)), minutes(1), minutes(9)));
    const hour = alarmRates({ ...first, to: at(hours(1)) });
    expect(ratesHeadline(hour)[0]).toBe("1 alarm in less than a day at 2 feeders.");
    expect(ratesFindings(hour)).toEqual([]);
    expect(hour.perDay).toBe(1);
    expect(hour.perFeederWeek).toBe(0.5);
    expect(young(1.2)[1]).toBe("Only one day is known yet. The standard wants 30 before one judges.");
    expect(young(0.5)).toEqual([
      "No alarm in less than a day at 2 feeders.",
      "Only part of a day is known yet. The standard wants 30 before one judges.",
    ]);
  });

  it("of a yard without feeders says so", () => {
    expect(ratesHeadline(alarmRates({ ...history(), feeders: [] }))).toEqual([
      "This yard has no feeder yet, so there are no alarms.",
    ]);
  });

  it("says shares as one says them", () => {
    expect([0.5, 2 / 3, 0.75, 0.93, 1, 0.33, 0.12].map(shareText)).toEqual([
      "half of all alarms",
      "two thirds of all alarms",
      "three quarters of all alarms",
      "nearly all alarms",
      "all alarms",
      "a third of all alarms",
      "12 % of all alarms",
    ]);
  });
});

describe("the measures", () => {
  const value = (name: string, rates: AlarmRates) =>
    alarmMeasures(rates).find((measure) => measure.name === name)?.value;

  it("stand each beside its ceiling", () => {
    const measures = alarmMeasures(alarmRates(history(...many(3, "rowan", "iceLock"))));
    const named = (name: string) => measures.find((measure) => measure.name === name);
    expect(named("Alarms a day, on average")).toEqual({
      name: "Alarms a day, on average",
      value: "0.1",
      limit: "144 very likely acceptable, 288 at most",
      isOverLimit: false,
    });
    expect(named("Alarms raised, a week at each feeder")?.limit).toBe("1 at most");
    expect(named("Acknowledged")?.value).toBe("3 of 3");
    expect(measures.filter(({ isOverLimit }) => isOverLimit)).toEqual([]);
  });

  it("never say nothing of what was little", () => {
    const years = alarmRates({ ...history(ordinaryAlarm("rowan", "iceLock", at(days(3)))), to: at(days(3_000)) });
    expect(value("Alarms a day, on average", years)).toBe("under 0.01");
    expect(value("Alarms a day, on average", alarmRates(history()))).toBe("0");
    const rang = alarmRates({ ...history(), audibleNotifications: 20 });
    expect(value("Audible notifications, a week at each feeder", rang)).toBe("2.3");
  });

  it("tell who answered, and who did not", () => {
    const two = [ordinaryAlarm("rowan", "foodLow", at(days(1))), briefAlarm("rowan", "foodLow", at(days(5)), hours(1))];
    const rates = alarmRates(
      history(...two, alarmChanges("larch", "foodLow", ["normal", "unacknowledged", at(days(9))])),
    );
    expect(value("Acknowledged", rates)).toBe("1 of 3");
    expect(value("Over, and never acknowledged", rates)).toBe("1");
  });

  it("are over their ceilings where they are", () => {
    const crowd = Array.from({ length: 12 }, (_, index) =>
      briefAlarm("rowan", "foodLow", after(from, minutes(0.7 * index)), seconds(20)),
    );
    const over = alarmMeasures(alarmRates({ ...history(...crowd), to: after(from, hours(6)) }))
      .filter((measure) => measure.isOverLimit)
      .map(({ name }) => name);
    expect(over).toEqual([
      "Alarms raised, a week at each feeder",
      "Most within ten minutes",
      "Floods: more than ten within ten minutes",
      "Fleeting alarms",
    ]);
    const storm = Array.from({ length: 9_000 }, (_, index) =>
      briefAlarm("rowan", "foodLow", at(minutes(4.7 * index)), minutes(1)),
    );
    const named = alarmMeasures(alarmRates(history(...storm))).filter((measure) => measure.isOverLimit);
    expect(named.map(({ name }) => name)).toContain("Alarms a day, on average");
    const five = (["scaleSilent", "chuteBlind", "perchSilent", "buttonSilent", "supplyWeak"] as const).map((fault) =>
      alarmChanges("rowan", fault, ["normal", "unacknowledged", at(days(20))]),
    );
    const stale = alarmMeasures(alarmRates(history(...five))).find(({ name }) => name.startsWith("Standing"));
    expect(stale).toMatchObject({ value: "5", isOverLimit: true });
  });
});
