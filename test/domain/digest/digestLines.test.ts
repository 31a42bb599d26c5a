import { describe, expect, it } from "vitest";
import { digestEmailSections } from "../../../server/domain/digest/digestEmail.ts";
import { dueDigest } from "../../../server/domain/digest/dueDigest.ts";
import {
  groupLines,
  limitLines,
  linesMax,
  listNames,
  type SectionDraft,
} from "../../../server/domain/digest/limitLines.ts";
import { nightForecast } from "../../../server/domain/digest/nightForecast.ts";
import type { PaymentEvent } from "../../../server/domain/digest/paymentEvent.ts";
import { paymentLines, paymentSummary } from "../../../server/domain/digest/payments.ts";
import { shortDigest, shortMax } from "../../../server/domain/digest/shortDigest.ts";
import { compareCount, medianOf, probabilityOfAtMost, usualWeekOf } from "../../../server/domain/digest/usualWeek.ts";
import { wearLines } from "../../../server/domain/digest/wear.ts";
import { weatherLines } from "../../../server/domain/digest/weatherText.ts";
import type { FeederState } from "../../../server/domain/feeder.ts";
import { after, instantOf, minutes, seconds } from "../../../server/domain/instant.ts";
import { celsius, humidityPercent, volts } from "../../../server/domain/units.ts";
import {
  airBetween,
  digestFeederFixture,
  feederWithPortions,
  now,
  readingsOf,
  withAlarm,
  yard,
} from "./digestFeederFixture.ts";

const omittedText = (count: number) => `${count} more.`;
const linesOf = (count: number, name = "line") => Array.from({ length: count }, (_, n) => `${name} ${n + 1}`);
const section = (heading: string, count: number, different: Partial<SectionDraft> = {}): SectionDraft => ({
  ...{ heading, lines: linesOf(count, heading), omittedText, ...different },
});
const counts = (...parts: SectionDraft[]) => limitLines(parts).map(({ lines }) => lines.length);

describe("the lines of a digest", () => {
  it("are all shown where a screen holds them", () => {
    expect(counts(section("a", 4), section("b", 10))).toEqual([4, 10]);
    expect(limitLines([section("a", 0), section("b", 1)]).map(({ heading }) => heading)).toEqual(["b"]);
  });

  it("are shared among the sections where not: four for each, then the rest for the first ones", () => {
    expect(counts(section("a", 9), section("b", 9), section("c", 9))).toEqual([6, 4, 4]);
    expect(counts(section("a", 2), section("b", 30))).toEqual([2, 12]);
    expect(linesMax).toBe(14);
  });

  it("are one for each section at least, the number of the omitted ones on the same line", () => {
    const many = Array.from({ length: 14 }, (_, n) => section(`${n}`, 3));
    expect(limitLines(many).map(({ lines }) => lines)).toEqual(many.map(({ heading }) => [`${heading} 1 2 more.`]));
  });

  it("end with the number of omitted ones where a section has several", () => {
    const [first] = limitLines([section("a", 20)]);
    expect(first?.lines).toEqual([...linesOf(13, "a"), "7 more."]);
  });

  it("are never omitted in a section that shows every line, whatever is left for the others", () => {
    const tasks = section("tasks", 20, { omittedText: null, links: linesOf(20, "/page") });
    const [all, other] = limitLines([tasks, section("b", 3)]);
    expect(all).toEqual({ heading: "tasks", lines: tasks.lines, links: tasks.links });
    expect(other).toEqual({ heading: "b", lines: ["b 1 2 more."] });
  });

  it("are one for all feeders with the same text, in the order of the first of each", () => {
    const entries = [
      { name: "Rowan", text: "as usual." },
      { name: "Elder", text: "no birds." },
      { name: "Larch", text: "as usual." },
    ];
    expect(groupLines(entries)).toEqual(["Rowan and Larch: as usual.", "Elder: no birds."]);
  });

  it("name three feeders at most", () => {
    expect(listNames([])).toBe("");
    expect(listNames(["Rowan"])).toBe("Rowan");
    expect(listNames(["Rowan", "Larch"])).toBe("Rowan and Larch");
    expect(listNames(["Rowan", "Larch", "Elder"])).toBe("Rowan, Larch and Elder");
    expect(listNames(["Rowan", "Larch", "Elder", "Hazel"])).toBe("Rowan, Larch and 2 more");
  });

  it("are headings and lists in an e-mail, with the links of the tasks", () => {
    const sections = [
      { heading: "To do", lines: ["Refill Rowan."], links: ["/feeders/rowan/refill"] },
      { heading: "Birds", lines: ["As usual."] },
    ];
    expect(digestEmailSections({ title: "", short: "", sections })).toEqual([
      { kind: "heading", text: "To do" },
      { kind: "list", items: ["Refill Rowan."], links: ["/feeders/rowan/refill"] },
      { kind: "heading", text: "Birds" },
      { kind: "list", items: ["As usual."] },
    ]);
  });
});

describe("the short digest", () => {
  const more = "\nMore on its page.";

  it("has all tasks, and the first line of every other section", () => {
    expect(shortDigest([section("To do", 2), section("Birds", 2), section("Wear", 0)], "To do")).toBe(
      "To do 1\nTo do 2\nBirds 1",
    );
  });

  it("ends at a whole line, and states that there is more, within its length", () => {
    const line = (length: number) => "x".repeat(length);
    const short = (...lines: string[]) => shortDigest([{ heading: "To do", lines, omittedText }], "To do");
    const fits = shortMax - more.length;
    expect(short(line(fits), line(40))).toBe(`${line(fits)}${more}`);
    expect(short(line(fits + 1), line(40))).toMatch(/^x+…\nMore on its page\.$/);
    expect(short(line(100), line(shortMax - 101))).toBe(`${line(100)}\n${line(shortMax - 101)}`);
    expect(short(line(100), line(shortMax - 100))).toBe(`${line(100)}${more}`);
    expect(short(line(shortMax))).toBe(line(shortMax));
  });

  it("cuts a first line that is too long between two words, if one ends near", () => {
    const clip = (text: string) => shortDigest([{ heading: "To do", lines: [text], omittedText }], "To do");
    const words = "food ".repeat(99).trim();
    expect(clip(words)).toMatch(/food…\nMore on its page\.$/);
    expect(clip(words).length).toBeLessThanOrEqual(shortMax);
    expect(clip(words).length).toBeGreaterThan(shortMax - 6);
    const long = `a ${"x".repeat(400)}`;
    expect(clip(long)).toHaveLength(shortMax - 40);
  });
});

describe("a count beside the usual week", () => {
  it("needs four days, and has Jeffreys' half an event more than was counted", () => {
    expect(usualWeekOf([1, 2, 3])).toBeNull();
    expect(usualWeekOf([0, 0, 0, 0])).toMatchObject({ days: 4, median: 0, mean: 0.125 });
    // Equal days show nothing beyond chance: the assumed scatter counts by its eight days of eleven.
    const scatter = (8 * 0.12) / (8 + 3);
    const { mean, variance } = usualWeekOf([10, 10, 10, 10]) ?? { mean: 0, variance: 0 };
    expect(mean).toBe(40.5 / 4);
    expect(variance).toBeCloseTo((mean + scatter * mean * mean) * (1 + 1 / 4), 9);
  });

  it("has a wider expectation where the days vary by more than chance", () => {
    const counts = [2, 20, 4, 30];
    const [mean, plainMean] = [56.5 / 4, 14];
    const squares = counts.reduce((sum, count) => sum + (count - plainMean) ** 2, 0);
    const scatter = (8 * 0.12 + 3 * ((squares / 3 - mean) / mean ** 2)) / 11;
    expect(usualWeekOf(counts)?.variance).toBeCloseTo((mean + scatter * mean * mean) * 1.25, 9);
  });

  it("is neither fewer nor more where it is the median itself", () => {
    const week = { days: 7, median: 5, mean: 1_000, variance: 1_001 };
    expect(compareCount(week, 5, 0.05)).toBe("usual");
    expect(compareCount(week, 4, 0.05)).toBe("fewer");
    const few = { days: 7, median: 5, mean: 0.01, variance: 0.02 };
    expect(compareCount(few, 5, 0.05)).toBe("usual");
    expect(compareCount(few, 6, 0.05)).toBe("more");
  });

  it("has a probability by the negative binomial law: check values of its first terms", () => {
    // Size 2 and p = 1/2: P(0) = 1/4, P(1) = 1/4, P(2) = 3/16.
    const law = { mean: 2, variance: 4 };
    expect([0, 1, 2].map((count) => probabilityOfAtMost(count, law))).toEqual(
      [0.25, 0.5, 0.6875].map((value) => expect.closeTo(value, 12)),
    );
    expect(probabilityOfAtMost(10_000, law)).toBeLessThanOrEqual(1);
  });

  it("has a median of an even number of days, and none of no day", () => {
    expect(medianOf([3, 1])).toBe(2);
    expect(medianOf([7])).toBe(7);
    expect(medianOf([])).toBeNaN();
  });
});

describe("the text of the coming night", () => {
  const text = (readings: ReturnType<typeof readingsOf>, state: FeederState = feederWithPortions("Rowan")) =>
    weatherLines([digestFeederFixture(state, { recentReadings: readings })], now);
  const air = (degrees: number, more: object = {}) => readingsOf(() => ({ air: celsius(degrees), ...more }));

  it("names frost from half a degree below zero on, hard frost from ten", () => {
    expect(text(air(-0.5))[0]).toMatch(/^Frost likely, about/);
    expect(text(air(-0.4))[0]).toMatch(/^No frost likely/);
    expect(text(air(-10))[0]).toMatch(/^Hard frost likely/);
    expect(text(air(-9.9))[0]).toMatch(/^Frost likely/);
  });

  it("names a lid below freezing from half a degree on", () => {
    expect(text(air(2, { lid: celsius(-0.5) }))[0]).toMatch(/^A lid may come below freezing/);
    expect(text(air(2, { lid: celsius(-0.4) }))[0]).toMatch(/^No frost likely/);
  });

  it("is the median of the yard's thermometers", () => {
    const feeders = [1, 3, 40].map((degrees, n) =>
      digestFeederFixture(feederWithPortions(`Feeder ${n}`), { recentReadings: air(degrees) }),
    );
    expect(weatherLines(feeders, now)[0]).toBe("No frost likely, about 3 °C.");
  });

  it("is missing where there are no readings, and empty where there is no feeder", () => {
    expect(weatherLines([], now)).toEqual([]);
    expect(weatherLines([digestFeederFixture(feederWithPortions("Rowan"))], now)).toEqual([
      "Not enough temperature data.",
    ]);
  });

  it("names food that froze from the second time on, on nights that freeze after days that thaw", () => {
    const frozen = (cycles: number) => {
      const state = feederWithPortions("Rowan");
      return {
        ...state,
        cold: { ...state.cold, caking: { ...state.cold.caking, freezeThaw: { isFrozen: false, cycles } } },
      };
    };
    const caking = (cycles: number, lowest = -4, warmest = 3) =>
      text(airBetween(lowest, warmest, 50), frozen(cycles)).length - 1;
    expect([caking(1), caking(2)]).toEqual([0, 1]);
    expect([caking(2, -0.5), caking(2, -0.4)]).toEqual([1, 0]);
    expect([caking(2, -4, 0.5), caking(2, -4, 0.4)]).toEqual([1, 0]);
    expect(text(airBetween(-4, 3, 50), withAlarm(frozen(2), "feedCaking", now))).toHaveLength(1);
  });
});

describe("a lead-acid battery in the coming night", () => {
  it("is near its freezing point from three degrees above on, its cautious one", () => {
    const state = feederWithPortions("Rowan", 1_500, 10, { battery: "leadAcid" });
    // At rest 1.1 kg/l: it freezes at -7.8 °C, cautiously at -4.8 °C.
    const rested = {
      ...state.cold.battery,
      lowestVoltage: volts(6 * (1.1 + 0.845)),
      previousLowestVoltage: volts(12.7),
    };
    const text = (degrees: number, battery = rested) =>
      weatherLines(
        [
          digestFeederFixture(
            { ...state, cold: { ...state.cold, battery } },
            { recentReadings: readingsOf(() => ({ air: celsius(5), batteryTemperature: celsius(degrees) })) },
          ),
        ],
        now,
      ).join();
    expect(text(-1.81)).toContain("may come near its freezing point");
    expect(text(-1.79)).not.toContain("may come near its freezing point");
    const earlier = { ...rested, lowestVoltage: volts(12.7), previousLowestVoltage: rested.lowestVoltage };
    expect(text(-1.81, earlier)).toContain("may come near its freezing point");
    expect(text(-1.81, { ...rested, lowestVoltage: null })).not.toContain("may come near its freezing point");
  });
});

describe("the forecast of a night", () => {
  const state = feederWithPortions("Rowan");
  const forecast = (readings: ReturnType<typeof readingsOf>, of = state) =>
    nightForecast(digestFeederFixture(of, { recentReadings: readings }), now);
  const air = readingsOf(() => ({ air: celsius(2) }));

  it("needs twelve readings over eighteen hours, the last within three", () => {
    expect(forecast(air.slice(-12))).toBeNull(); // eleven hours
    expect(forecast(air.filter((_, n) => n % 2 === 0))).not.toBeNull(); // 13 over 24 hours
    expect(forecast(air.filter((_, n) => n % 2 === 1))).not.toBeNull(); // 12 over 22 hours
    expect(forecast(air.filter((_, n) => n % 2 === 1).slice(1))).toBeNull(); // 11
    expect(forecast(air.slice(-19))).not.toBeNull(); // 18 hours
    expect(forecast(air.slice(-18))).toBeNull(); // 17 hours
    expect(forecast(air.slice(0, -3))).not.toBeNull(); // the last three hours ago
    expect(forecast(air.slice(0, -4))).toBeNull();
  });

  it("takes the box's thermometer where there is none in the air, and none without reports", () => {
    expect(forecast(readingsOf(() => ({ inside: celsius(7) })))?.lowest).toBe(7);
    expect(forecast(air, withAlarm(state, "feederSilent", now))).toBeNull();
  });

  it("has the lid as far below the air as it was at most, never above it", () => {
    const lid = (degrees: number) => forecast(readingsOf(() => ({ air: celsius(2), lid: celsius(degrees) })))?.surface;
    expect(lid(-1)).toBe(-1);
    expect(lid(5)).toBe(2);
  });

  it("has a clear sky's cooling where day and night differ by six degrees, and none where by less", () => {
    const surface = (range: number) => {
      const found = forecast(airBetween(2, 2 + range));
      return found === null ? null : found.lowest - found.surface;
    };
    expect(surface(6.01)).toBeGreaterThan(0);
    expect(surface(5.99)).toBe(0);
  });

  it("has the frost point of the newest humidity, by the thermometer beside it", () => {
    const damp = (of: object) =>
      forecast(readingsOf((ago) => ({ air: celsius(2), humidity: humidityPercent(ago === 0 ? 60 : 95), ...of })))
        ?.frostPoint;
    expect(damp({})).toBeLessThan(-3);
    expect(damp({ inside: celsius(10) })).toBeGreaterThan(damp({}) ?? 0);
    expect(forecast(air)?.frostPoint).toBeNull();
  });

  it("counts a battery as charged from 50 mA on", () => {
    const chargedAt = (milliamps: number) =>
      forecast(readingsOf(() => ({ air: celsius(2), batteryTemperature: celsius(4), charge: milliamps as never })))
        ?.chargedAt;
    expect(chargedAt(51)).toBe(4);
    expect(chargedAt(50)).toBeNull();
    const noThermometer = forecast(readingsOf(() => ({ air: celsius(2), charge: 300 as never })));
    expect([noThermometer?.battery, noThermometer?.chargedAt]).toEqual([null, null]);
  });
});

describe("the payments of a day", () => {
  const at = (second: number) => after(instantOf("2026-11-24T09:00:00Z"), seconds(second));
  const deposit = (second: number, of = `b ${second}`, expectsPortion = true): PaymentEvent => ({
    kind: "deposit",
    of,
    at: at(second),
    expectsPortion,
  });
  const portion = (second: number, different: object = {}): PaymentEvent => ({
    kind: "portion",
    at: at(second),
    paysFor: null,
    forDeposit: true,
    fell: true,
    ...different,
  });

  it("count two detections within two seconds as one deposit", () => {
    expect(paymentSummary([deposit(0), deposit(2)]).deposits).toBe(1);
    expect(paymentSummary([deposit(0), deposit(2.001)]).deposits).toBe(2);
    expect(paymentSummary([deposit(0), deposit(2), deposit(4)]).deposits).toBe(1); // each near to the one before
  });

  it("are found by the deposit's number within two minutes, else within ten seconds", () => {
    const paidAfter = (second: number, paysFor: string | null) =>
      paymentSummary([deposit(0, "b 1"), portion(second, { paysFor })]).medianDelay;
    expect(paidAfter(10, null)).toBe(seconds(10));
    expect(paidAfter(10.001, null)).toBeNull();
    expect(paidAfter(120, "b 1")).toBe(minutes(2));
    expect(paidAfter(120.001, "b 1")).toBeNull();
    expect(paidAfter(1, "b 2")).toBeNull();
  });

  it("pay by either number of a deposit that was detected twice, and only once", () => {
    expect(paymentSummary([deposit(0, "b 1"), deposit(1, "b 2"), portion(3, { paysFor: "b 2" })]).unpaid).toEqual([]);
    expect(paymentSummary([deposit(0), deposit(5), portion(6), portion(7)]).unpaid).toEqual([]);
    expect(paymentSummary([deposit(0), deposit(5), portion(6)]).unpaid).toEqual([at(5)]);
  });

  it("are not made by a portion that didn't fall, or was given for nothing", () => {
    expect(paymentSummary([deposit(0), portion(1, { fell: false })]).unpaid).toHaveLength(1);
    expect(paymentSummary([deposit(0), portion(1, { forDeposit: false })]).unpaid).toHaveLength(1);
    expect(paymentSummary([deposit(0, "b 1"), portion(1, { forDeposit: false, paysFor: "b 1" })]).unpaid).toEqual([]);
  });

  it("aren't due for a deposit without metal", () => {
    expect(paymentSummary([deposit(0, "b 1", false)])).toEqual({
      deposits: 0,
      notCounted: 1,
      unpaid: [],
      medianDelay: null,
    });
  });

  it("read as what was paid, how fast, and when not", () => {
    const line = (...paymentEvents: PaymentEvent[]) =>
      paymentLines([digestFeederFixture(feederWithPortions("Rowan"), { paymentEvents })], yard.zone)[0];
    expect(line(deposit(0), portion(1))).toBe("Rowan: 1 deposit, with a portion within a second.");
    expect(line(deposit(0), portion(1.1))).toBe("Rowan: 1 deposit, with a portion within 2 seconds.");
    expect(line(deposit(0), portion(1), deposit(60), portion(64))).toBe(
      "Rowan: 2 deposits, all with a portion, half of them within 3 seconds.",
    );
    expect(line(deposit(0))).toBe("Rowan: no portion for the only deposit (10:00).");
    expect(line(deposit(0), deposit(60))).toBe("Rowan: no portion for all 2 deposits (10:00, 10:01).");
    expect(line(deposit(0), deposit(60), deposit(120), deposit(180), portion(182))).toBe(
      "Rowan: no portion for 3 of 4 deposits (10:00, 10:01 and 1 more). The others within 2 seconds.",
    );
    expect(line(deposit(0, "b 1", false), deposit(60), portion(61))).toBe(
      "Rowan: 1 deposit, with a portion within a second. 1 more did not count: no metal, or paused.",
    );
  });

  it("aren't mentioned of a feeder without detector and deposits, and not counted where there were too many to read", () => {
    const without = feederWithPortions("Rowan", 1_500, 10, {
      sensors: { ...feederWithPortions("x").settings.sensors, detector: false },
    });
    const line = (paymentEvents: readonly PaymentEvent[] | null, of = without) =>
      paymentLines([digestFeederFixture(of, { paymentEvents })], yard.zone);
    expect(line([])).toEqual([]);
    expect(line(null)).toEqual([]);
    expect(line([deposit(0)])).toHaveLength(1);
    expect(line(null, feederWithPortions("Rowan"))).toEqual(["Rowan: too many deposits to list."]);
  });
});

describe("the digest that is due", () => {
  it("is sent from its time on, for six hours", () => {
    const due = (time: string) => dueDigest("Europe/Stockholm", "07:30", instantOf(`2026-11-25T${time}+01:00`));
    expect(due("07:29:59")).toBeNull();
    expect(due("07:30:00")).toBe("2026-11-25");
    expect(due("13:29:59")).toBe("2026-11-25");
    expect(due("13:30:00")).toBeNull();
  });

  it("isn't sent twice for a date, nor for an earlier one", () => {
    const due = (last: string) => dueDigest("Europe/Stockholm", "07:30", now, last);
    expect([due("2026-11-24"), due("2026-11-25"), due("2026-11-26")]).toEqual(["2026-11-25", null, null]);
  });
});

describe("wear that can be known", () => {
  it("is claimed as none only of a feeder with numbers: a chute sensor's hundred portions", () => {
    const state = feederWithPortions("Rowan");
    const learnt = (portionsLearnt: number, missedShare = 0.01) =>
      wearLines(
        [
          digestFeederFixture({
            ...state,
            feed: { ...state.feed, chute: { ...state.feed.chute, portionsLearnt, missedShare } },
          }),
        ],
        yard.zone,
        now,
      );
    expect(learnt(99)).toEqual([]);
    expect(learnt(100)).toEqual(["No signs of wear."]);
    expect(learnt(100, 0.059)).toEqual(["No signs of wear."]);
    expect(learnt(100, 0.06)).toEqual(["Rowan: its chute sensor misses about 1 of 17 portions: clean it."]);
  });

  it("is none of a chute sensor that isn't fitted any more", () => {
    const { settings, feed, ...state } = feederWithPortions("Rowan");
    const worn = { ...feed, chute: { ...feed.chute, portionsLearnt: 200, missedShare: 0.1 } };
    const without = { ...settings, sensors: { ...settings.sensors, chute: false } };
    const lines = (of: FeederState) => wearLines([digestFeederFixture(of)], yard.zone, now);
    expect(lines({ ...state, settings, feed: worn })).toHaveLength(1);
    expect(lines({ ...state, settings: without, feed: worn })).toEqual([]);
  });

  it("is nothing of a feeder without numbers beside one with wear", () => {
    const state = feederWithPortions("Rowan");
    const worn = {
      ...state,
      feed: { ...state.feed, chute: { ...state.feed.chute, portionsLearnt: 200, missedShare: 0.1 } },
    };
    expect(
      wearLines([digestFeederFixture(worn), digestFeederFixture(feederWithPortions("Larch"))], yard.zone, now),
    ).toEqual(["Rowan: its chute sensor misses about 1 of 10 portions: clean it."]);
  });
});
