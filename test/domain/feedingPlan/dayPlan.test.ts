import { readFileSync } from "node:fs";
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { planDay, planLimits } from "../../../server/domain/feedingPlan/dayPlan.ts";
import type { FeedingRules, FreeFood } from "../../../server/domain/feedingPlan/feedingRules.ts";
import { between, hours, type Instant, inHours, instantOf, minutes } from "../../../server/domain/instant.ts";
import { addLocalDays, localTimeOf } from "../../../server/domain/localTime.ts";
import { civilDayAround } from "../../../server/domain/sun.ts";
import { celsius, grams } from "../../../server/domain/units.ts";

const zone = "Europe/Stockholm";
const alderCroft = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
const context = { seed: 42, place: alderCroft, zone, portion: grams(2) };
const rules: FeedingRules = {
  seed: 42,
  free: {
    each: grams(2),
    schedule: { kind: "variableTime", mean: minutes(50) },
    afterDawn: minutes(30),
    beforeDusk: minutes(60),
  },
  press: null,
  deposit: null,
  ration: grams(60),
  paysDepositsOverRation: true,
  frostFloor: null,
  quietTimes: [],
};
const noon = (date: string) => instantOf(`${date}T12:00:00+01:00`);

describe("the plan of a day", () => {
  it("gives free food by daylight alone, with its margins, all year", () => {
    for (let date = "2026-01-01", day = 0; day < 365; date = addLocalDays(date, 1), day += 1) {
      const { free, light } = planDay(rules, context, date);
      const { dawn, dusk } = civilDayAround(alderCroft, noon(date));
      expect(light).toBe("usual");
      expect(free.length).toBeGreaterThan(0);
      expect(free.every((at) => at >= dawn + minutes(30) && at <= dusk - minutes(60))).toBe(true);
      expect([...free].sort((a, b) => a - b)).toEqual(free);
    }
  });

  it("is the same each time that it is made, and another one each day and for another seed", () => {
    const plan = planDay(rules, context, "2026-12-01");
    expect(planDay(rules, context, "2026-12-01")).toEqual(plan);
    expect(planDay(rules, { ...context, seed: 43 }, "2026-12-01").free).not.toEqual(plan.free);
    const times = (date: string) => planDay(rules, context, date).free.map((at) => localTimeOf(at, zone));
    expect(times("2026-12-02")).not.toEqual(times("2026-12-01"));
  });

  it("has on average a portion every so many minutes of daylight", () => {
    let [given, lit] = [0, 0];
    for (let date = "2026-01-01", day = 0; day < 365; date = addLocalDays(date, 1), day += 1) {
      given += planDay({ ...rules, ration: grams(1_000) }, context, date).free.length;
      const { dawn, dusk } = civilDayAround(alderCroft, noon(date));
      lit += Math.min(inHours(between(dawn, dusk)), 16) - 1.5;
    }
    // A renewal process of gaps with a coefficient of variation near 1 begins anew each day; 3 % is four standard errors of 5,000.
    expect(given / ((lit * 60) / 50)).toBeGreaterThan(0.94);
    expect(given / ((lit * 60) / 50)).toBeLessThan(1.06);
  });

  it("says so where the sun is below -6 degrees all day, and gives nothing", () => {
    const north = { latitudeDegrees: 78.2, longitudeDegrees: 15.6 };
    const plan = planDay(
      { ...rules, frostFloor: { below: celsius(-10), grams: grams(10) } },
      { ...context, place: north },
      "2026-12-21",
    );
    expect(plan).toMatchObject({ light: "polarNight", free: [], frost: [] });
  });

  it("says so where the sun never sets, and keeps to sixteen hours around noon", () => {
    const north = { latitudeDegrees: 69, longitudeDegrees: 18 };
    const plan = planDay({ ...rules, ration: grams(1_000) }, { ...context, place: north }, "2026-06-21");
    expect(plan.light).toBe("polarDay");
    const times = plan.free.map((at) => localTimeOf(at, zone));
    expect(times[0] && times[0] > "04:30").toBe(true); // the sun is highest at 12:50 there
    expect(times.at(-1) && (times.at(-1) as string) < "20:50").toBe(true);
    expect(times.length).toBeGreaterThan(10);
  });

  it("gives nothing free in quiet times, also in one over midnight, and loses nothing of the mean by them", () => {
    const quiet = {
      ...rules,
      ration: grams(1_000),
      quietTimes: [
        { from: "11:00", to: "13:30" },
        { from: "15:00", to: "09:00" },
      ],
    };
    let given = 0;
    for (let date = "2026-06-01", day = 0; day < 60; date = addLocalDays(date, 1), day += 1) {
      const times = planDay(quiet, context, date).free.map((at) => localTimeOf(at, zone));
      given += times.length;
      for (const time of times) {
        expect(time >= "09:00" && time < "15:00" && !(time >= "11:00" && time < "13:30")).toBe(true);
      }
    }
    expect(given / (60 * 3.5 * (60 / 50))).toBeGreaterThan(0.85);
    expect(given / (60 * 3.5 * (60 / 50))).toBeLessThan(1.15);
  });

  it("is stretched over the day where the ration would end before it, and says by how much", () => {
    const scarce = { ...rules, ration: grams(9) };
    const plans = Array.from({ length: 40 }, (_, day) => planDay(scarce, context, addLocalDays("2026-05-01", day)));
    for (const { free, portionsMax, stretched } of plans) {
      expect(portionsMax).toBe(4);
      expect(free.length).toBeLessThanOrEqual(4);
      expect(stretched).toBeGreaterThan(hours(3));
    }
    const afternoons = plans.filter(({ free }) => free.some((at) => localTimeOf(at, zone) > "15:00")).length;
    // Four portions at a mean of 50 minutes from five in the morning would hardly ever reach the afternoon.
    expect(afternoons).toBeGreaterThan(16);
  });

  it("counts portions by what one weighs today", () => {
    const heavy = planDay(
      { ...rules, free: rules.free && { ...rules.free, each: grams(4) } },
      { ...context, portion: grams(1.3) },
      "2026-05-01",
    );
    expect(heavy).toMatchObject({ portionsEach: 3, portionsMax: 46 });
    expect(planDay(rules, { ...context, portion: grams(5) }, "2026-05-01").portionsEach).toBe(1); // never less than one
    expect(planDay({ ...rules, ration: grams(1) }, context, "2026-05-01")).toMatchObject({ portionsMax: 0, free: [] });
  });

  it("keeps in hard frost what the floor adds to the free food, evenly by daylight, whatever the ration", () => {
    const floor = { ...rules, ration: grams(4), frostFloor: { below: celsius(-10), grams: grams(13) } };
    const { free, frost, from, to } = planDay(floor, context, "2027-01-15");
    expect(frost.length + free.length).toBe(7); // 13 g in portions of 2 g
    const { dawn, dusk } = civilDayAround(alderCroft, noon("2027-01-15"));
    expect(frost.every((at) => at > dawn && at < dusk && at > from && at < to)).toBe(true);
    const gaps = frost.slice(1).map((at, index) => at - (frost[index] as Instant));
    expect(Math.max(...gaps) - Math.min(...gaps)).toBeLessThanOrEqual(1_000);
    expect(planDay({ ...floor, free: null }, context, "2027-01-15").frost).toHaveLength(7);
  });

  describe("while feeding is tapered off", () => {
    const taper = { from: "2026-11-01", days: 14 };
    const tapered = { ...rules, taper, frostFloor: { below: celsius(-10), grams: grams(20) } };
    const planned = (seed: number, day: number, of: FeedingRules = tapered) =>
      planDay(of, { ...context, seed }, addLocalDays("2026-10-31", day));

    it("has a ration that is less by the same each day, to nothing from the day after the last on", () => {
      const rations = Array.from({ length: 17 }, (_, day) => planned(1, day).portionsMax);
      expect(rations).toEqual([30, 28, 26, 24, 22, 20, 18, 16, 14, 12, 10, 8, 6, 4, 2, 0, 0]);
      expect(planned(1, 0)).toMatchObject({ share: 1 });
      expect(planned(1, 14).share).toBeCloseTo(1 / 15);
      expect(planned(1, 400)).toMatchObject({ share: 0, portionsMax: 0, free: [], stretched: null });
    });

    it.each([
      ["by the waits", 50, 1_000],
      ["by the ration", 10, 60],
    ])("has as much less free food, where it is limited %s", (_, gap, ration) => {
      const mean = (day: number, of: FeedingRules) =>
        Array.from({ length: 400 }, (_each, seed) => planned(seed, day, of).free.length).reduce((a, b) => a + b) / 400;
      const free = { ...(rules.free as FreeFood), schedule: { kind: "variableTime", mean: minutes(gap) } as const };
      const of = { ...tapered, free, ration: grams(ration) };
      const { taper: _taper, ...usual } = of;
      for (const day of [3, 8, 12]) {
        const share = mean(day, of) / mean(day, usual);
        expect(Math.abs(share - (1 - day / 15))).toBeLessThan(0.08); // a day has whole portions
      }
    });

    it("leaves the floor of hard frost as it is: what is no longer free by its times, the frost brings", () => {
      for (let day = 0; day < 20; day += 1) {
        const { free, frost, portionsEach } = planned(3, day);
        expect(free.length * portionsEach + frost.length).toBeGreaterThanOrEqual(10); // 20 g in portions of 2 g
      }
      expect(planned(3, 20).frost).toHaveLength(10);
    });
  });

  it("lies within its own local day, in every place, zone and season", () => {
    fc.assert(
      fc.property(
        fc.double({ min: -75, max: 75, noNaN: true }),
        fc.constantFrom("Europe/Stockholm", "America/St_Johns", "Pacific/Auckland", "Asia/Kathmandu"),
        fc.integer({ min: 0, max: 730 }),
        fc.integer({ min: 0, max: 1_000_000 }),
        (latitudeDegrees, somewhere, day, seed) => {
          const longitudeDegrees = {
            "Europe/Stockholm": 17.8,
            "America/St_Johns": -52.7,
            "Pacific/Auckland": 174.8,
            "Asia/Kathmandu": 85.3,
          }[somewhere];
          const place = { latitudeDegrees, longitudeDegrees };
          const date = addLocalDays("2026-01-01", day);
          const plan = planDay(rules, { ...context, place, zone: somewhere, seed }, date);
          expect(plan.free.every((at) => at >= plan.from && at < plan.to)).toBe(true);
          expect(plan.free.length * plan.portionsEach).toBeLessThanOrEqual(plan.portionsMax);
        },
      ),
      { numRuns: 150 },
    );
  });

  it("asks for no more than a feeder takes, whatever the rules", () => {
    const agent = readFileSync("deploy/feeder/plan.py", "utf8");
    expect(agent).toContain(`PORTIONS_AT_ONCE_MAX = ${planLimits.portionsEach}`);
    expect(agent).toContain(`DAYS_MAX, TIMES_MAX = 21, ${planLimits.timesADay}`);
    const greedy = {
      ...rules,
      free: {
        ...(rules.free as NonNullable<FeedingRules["free"]>),
        schedule: { kind: "jitter", mean: minutes(10), by: minutes(5) },
      },
      ration: grams(5_000),
      frostFloor: { below: celsius(0), grams: grams(500) },
    } as const;
    for (let date = "2026-06-01"; date < "2026-07-01"; date = addLocalDays(date, 1)) {
      const small = planDay(greedy, { ...context, portion: grams(0.1) }, date);
      expect(small.portionsEach).toBe(planLimits.portionsEach);
      expect(small.free.length).toBeLessThanOrEqual(planLimits.timesADay);
      expect(small.frost.length).toBeLessThanOrEqual(planLimits.timesADay);
      const usual = planDay(greedy, { ...context, portion: grams(5) }, date);
      expect(usual.free.length).toBeGreaterThan(70);
      expect(usual.free.length).toBeLessThanOrEqual(planLimits.timesADay);
    }
  });
});
