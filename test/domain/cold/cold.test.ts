import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { freezingPoint } from "../../../server/domain/cold/battery.ts";
import { type ColdState, coldFaults, initialCold, updateCold } from "../../../server/domain/cold/cold.ts";
import * as time from "../../../server/domain/instant.ts";
import { hours, type Instant, instantOf, minutes } from "../../../server/domain/instant.ts";
import type { Readings } from "../../../server/domain/report.ts";
import type { BatteryKind, FeederSettings } from "../../../server/domain/settings.ts";
import { celsius, humidityPercent, milliamps, volts } from "../../../server/domain/units.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { emptyReadings, larchSettings } from "../silence/larch.ts";

const start = instantOf("2026-01-15T00:00:00Z");

/** What the feeder measures, in bare numbers. */
interface Measured {
  readonly air?: number;
  readonly inside?: number;
  readonly lid?: number;
  readonly humidity?: number;
  readonly battery?: number;
  readonly batteryTemperature?: number;
  readonly charge?: number;
}

const readings = (measured: Measured): Readings => ({
  ...emptyReadings,
  air: measured.air === undefined ? null : celsius(measured.air),
  inside: measured.inside === undefined ? null : celsius(measured.inside),
  lid: measured.lid === undefined ? null : celsius(measured.lid),
  humidity: measured.humidity === undefined ? null : humidityPercent(measured.humidity),
  battery: measured.battery === undefined ? null : volts(measured.battery),
  batteryTemperature: measured.batteryTemperature === undefined ? null : celsius(measured.batteryTemperature),
  charge: measured.charge === undefined ? null : milliamps(measured.charge),
});

const withBattery = (battery: BatteryKind): FeederSettings => ({ ...larchSettings, battery });

/** One report each ten minutes; what was found after each. */
function play(
  story: readonly Measured[],
  settings: FeederSettings,
  cold: ColdState = initialCold(),
  from: Instant = start,
) {
  let now = from;
  const found: string[][] = [];
  for (const measured of story) {
    now = time.after(now, minutes(10));
    cold = updateCold(cold, readings(measured), now, settings);
    found.push(coldFaults(cold, settings, now).map((fault) => fault.kind));
  }
  return { cold, now, found, faults: coldFaults(cold, settings, now) };
}

const times = (count: number, measured: Measured): Measured[] => Array.from({ length: count }, () => measured);

/** Dew point 3.4 °C, for an hour: the lid is wet. */
const dewyEvening = times(7, { inside: 4, humidity: 96, lid: 2 });

describe("frost inside", () => {
  it("grows on the lid when the air in the box is damp and the lid colder than its frost point", () => {
    // Air -2 °C, 92 %: frost point -2.8 °C.
    const { faults } = play([{ inside: -2, humidity: 92, lid: -6 }], larchSettings);
    expect(faults.map((fault) => fault.kind)).toEqual(["frostInside"]);
    expect(faults[0]?.reason).toBe(
      "The lid is at −6 °C, and the air is so damp that frost forms on surfaces below −3 °C.",
    );
  });

  it("grows in the cold at a humidity that would be dry in summer: 85 % at -20 °C is more than ice lets be", () => {
    expect(play([{ inside: -20, humidity: 85, lid: -22 }], larchSettings).found).toEqual([["frostInside"]]);
  });

  it("doesn't grow in dry air however cold, nor on a surface above freezing however damp", () => {
    expect(play([{ inside: -10, humidity: 60, lid: -13 }], larchSettings).found).toEqual([[]]);
    expect(play([{ inside: 4, humidity: 99, lid: 1.5 }], larchSettings).found).toEqual([[]]);
  });

  it("is looked for on the colder of lid and inside, and on the inside where the lid isn't measured", () => {
    expect(play([{ inside: -12, humidity: 99, lid: -3 }], larchSettings).faults[0]?.reason).toMatch(
      /^The inside of the box is at −12 °C/,
    );
    expect(play([{ air: -2, inside: -8, humidity: 99 }], larchSettings).found[0]).toEqual([]); // 99 % over water at -8 °C: 0.8 K past ice
    expect(play([{ air: 1, humidity: 95 }], larchSettings).found).toEqual([[]]); // no surface measured
  });

  it("is another thing than water that was there and froze: what was wet with dew and then went through zero is ice", () => {
    const night = { inside: -1, humidity: 60, lid: -3 }; // dry by now, but the water is there
    const { found, faults } = play([...dewyEvening, { inside: 1, humidity: 80, lid: 0.2 }, night], larchSettings);
    expect(found).toEqual([...Array(8).fill([]), ["iceLock"]]);
    expect(faults[0]?.reason).toBe("The lid was wet with dew and is now at −3 °C: expect ice on tray and slot.");
    expect(play([night], larchSettings).found).toEqual([[]]);
  });

  it("gives way to ice where dew came after it, and neither is found once both have melted", () => {
    const frosty = { inside: -2, humidity: 92, lid: -6 };
    const { found } = play([frosty, ...dewyEvening, frosty, { inside: 8, humidity: 50, lid: 6 }], larchSettings);
    expect(found).toEqual([["frostInside"], ...Array(7).fill([]), ["iceLock"], []]);
  });

  it("turns to no ice where the water had two dry hours to go", () => {
    const dryingOff = times(14, { inside: 12, humidity: 40, lid: 12 });
    const { found } = play([...dewyEvening, ...dryingOff, { inside: -1, humidity: 60, lid: -3 }], larchSettings);
    expect(found.at(-1)).toEqual([]);
  });

  it("lasts until the surface has thawed: ice doesn't go because the air is dry", () => {
    const frozen = play([...dewyEvening, { inside: -1, humidity: 60, lid: -3 }], larchSettings);
    const still = play(times(6, { inside: -1, humidity: 40, lid: -0.2 }), larchSettings, frozen.cold, frozen.now);
    expect(still.found).toEqual(Array(6).fill(["iceLock"]));
    expect(play([{ inside: 3, humidity: 40, lid: 1 }], larchSettings, still.cold, still.now).found).toEqual([[]]);
  });

  it("doesn't flicker while the lid trembles about the threshold", () => {
    const random = seededRandom(1);
    const story = Array.from({ length: 300 }, () => ({
      inside: -2 + random.normal(0, 0.1),
      humidity: 92 + random.normal(0, 1),
      lid: -3.6 + random.normal(0, 0.15),
    }));
    const { found } = play(story, larchSettings);
    const turns = found.filter((kinds, i) => i > 0 && kinds.length !== found[i - 1]?.length).length;
    expect(turns).toBeLessThanOrEqual(1);
    expect(found.at(-1)).toEqual(["frostInside"]); // it came once, and stayed
  });

  it("stays away in healthy winter weeks with a dry box", () => {
    const random = seededRandom(2);
    for (let week = 0; week < 10; week++) {
      const mild = -12 + 2 * week; // from hard frost to thaw
      const story = Array.from({ length: 7 * 144 }, (_, i) => {
        const daily = 4 * Math.sin((2 * Math.PI * i) / 144);
        const inside = mild + daily + random.normal(0, 0.2);
        return { inside, humidity: 62 + random.normal(0, 3), lid: inside - 2 - random.uniform() };
      });
      expect(play(story, larchSettings).found.flat(), `about ${mild} °C`).toEqual([]);
    }
  });
});

describe("a lead-acid battery near freezing", () => {
  const leadAcid = withBattery("leadAcid");
  const empty = { battery: 11.9, charge: 0, batteryTemperature: -12 }; // SG 1.138: freezes near -13 °C

  it("is found when it was left discharged, on a night that a full one would not notice", () => {
    const { faults } = play(times(3, empty), leadAcid);
    expect(faults.map((fault) => fault.kind)).toEqual(["batteryFreezing"]);
    expect(faults[0]?.reason).toBe(
      "The battery is at −12 °C. At 11.9 V it is discharged so far that it may freeze at about −13 °C.",
    );
    expect(play(times(3, { ...empty, battery: 12.6 }), leadAcid).found.at(-1)).toEqual([]);
  });

  it("is judged by the lowest voltage of the last day, since the sun's float voltage hides the charge", () => {
    const dawn = play(times(6, { ...empty, batteryTemperature: -5 }), leadAcid);
    const sunny = play(times(30, { battery: 13.6, batteryTemperature: -5 }), leadAcid, dawn.cold, dawn.now);
    expect(sunny.found.at(-1)).toEqual([]);
    const dusk = play([{ battery: 13.0, batteryTemperature: -12 }], leadAcid, sunny.cold, sunny.now);
    expect(dusk.found.at(-1)).toEqual(["batteryFreezing"]);
  });

  it("is forgiven the low voltage of days ago", () => {
    const low = play(times(6, { ...empty, batteryTemperature: -5 }), leadAcid);
    const full = play(times(200, { battery: 12.7, charge: 0, batteryTemperature: -12 }), leadAcid, low.cold, low.now);
    expect(full.found.at(-1)).toEqual([]);
  });

  it("is not taken for empty because of a sag or two under the motor, nor by its voltage while it is charged", () => {
    const rest = { battery: 12.6, charge: 0, batteryTemperature: -12 };
    expect(
      play([rest, rest, { ...rest, battery: 11.2 }, { ...rest, battery: 11.3 }, rest, rest], leadAcid).found.flat(),
    ).toEqual([]);
    expect(play(times(5, { battery: 11.9, charge: 400, batteryTemperature: -12 }), leadAcid).found.flat()).toEqual([]);
  });

  it("doesn't flicker about its threshold", () => {
    const random = seededRandom(3);
    const story = Array.from({ length: 300 }, () => ({ ...empty, batteryTemperature: -10.3 + random.normal(0, 0.3) }));
    const { found } = play(story, leadAcid);
    expect(found.filter((kinds, i) => i > 0 && kinds.length !== found[i - 1]?.length).length).toBeLessThanOrEqual(1);
  });

  it("is found at its cautious freezing point, and stays found until it is more than two degrees above it", () => {
    const point = freezingPoint(volts(empty.battery))?.cautious ?? Number.NaN;
    const foundAt = (cold: ColdState, above: number) =>
      play([{ ...empty, batteryTemperature: point + above }], leadAcid, cold, time.after(start, hours(1)));
    const warm = play(times(3, { ...empty, batteryTemperature: 5 }), leadAcid).cold;
    expect(foundAt(warm, 0.001).found.at(-1)).toEqual([]);
    const frozen = foundAt(warm, 0);
    expect(frozen.found.at(-1)).toEqual(["batteryFreezing"]);
    expect(foundAt(frozen.cold, 1.999).found.at(-1)).toEqual(["batteryFreezing"]);
    const thawed = foundAt(frozen.cold, 2.001);
    expect(thawed.found.at(-1)).toEqual([]);
    expect(foundAt(thawed.cold, 1).found.at(-1)).toEqual([]); // found again only where it may freeze again
  });

  it("is measured by the box where it has no thermometer, and says so", () => {
    const { faults } = play(times(3, { battery: 11.9, charge: 0, inside: -13, humidity: 50 }), leadAcid);
    expect(faults[0]?.reason).toMatch(/^The box with the battery is at −13 °C/);
  });

  it("is no matter for lithium, nor where there is none", () => {
    for (const kind of ["lithiumIronPhosphate", "lithiumIon", "none"] as const) {
      expect(play(times(3, empty), withBattery(kind)).found.flat()).toEqual([]);
    }
  });

  it("stays away in a healthy winter, with the sun on the panel and motors pulling", () => {
    const random = seededRandom(4);
    const story = Array.from({ length: 60 * 144 }, (_, i) => {
      const sun = Math.max(0, Math.sin((2 * Math.PI * i) / 144));
      const sag = random.isTrueWith(0.02) ? 0.9 : 0;
      return {
        battery: 12.45 + 1.1 * sun - sag + random.normal(0, 0.03),
        charge: 500 * sun,
        batteryTemperature: -12 + 6 * sun + random.normal(0, 0.3),
      };
    });
    expect(play(story, leadAcid).found.flat()).toEqual([]);
  });
});

describe("charging in frost", () => {
  const lithium = withBattery("lithiumIronPhosphate");

  it("is found for both lithium kinds: current in below 0 °C (check values bat-lfp- and bat-liion-charge-window, quoted)", () => {
    for (const kind of ["lithiumIronPhosphate", "lithiumIon"] as const) {
      const { faults } = play([{ charge: 350, batteryTemperature: -4 }], withBattery(kind));
      expect(faults.map((fault) => fault.kind)).toEqual(["chargingInFrost"]);
      expect(faults[0]?.reason).toBe("Current flows into the lithium battery while the battery is at −4 °C.");
    }
  });

  it("is not the cold alone, nor the current alone, nor the current sensor's idle talk", () => {
    expect(play([{ charge: 0, batteryTemperature: -25 }], lithium).found).toEqual([[]]);
    expect(play([{ charge: -400, batteryTemperature: -15 }], lithium).found).toEqual([[]]); // discharge is allowed
    expect(play([{ charge: 800, batteryTemperature: 6 }], lithium).found).toEqual([[]]);
    expect(play([{ charge: 40, batteryTemperature: -4 }], lithium).found).toEqual([[]]);
  });

  it("is not claimed where nothing tells the current, or no thermometer is near", () => {
    expect(play([{ batteryTemperature: -9 }, { charge: 500, air: -9 }], lithium).found).toEqual([[], []]);
  });

  it("goes when the current stops or the battery is well above freezing, and doesn't flicker between", () => {
    const steps = [-0.2, 0.3, -0.1, 0.6, 0.9].map((batteryTemperature) => ({ charge: 300, batteryTemperature }));
    const on = play(steps, lithium);
    expect(on.found).toEqual(Array(5).fill(["chargingInFrost"]));
    expect(play([{ charge: 300, batteryTemperature: 1.2 }], lithium, on.cold, on.now).found).toEqual([[]]);
    expect(play([{ charge: 10, batteryTemperature: -3 }], lithium, on.cold, on.now).found).toEqual([[]]);
  });

  it("is left to the battery's freezing for lead-acid, which may be charged in the cold while it is liquid", () => {
    expect(play([{ charge: 350, batteryTemperature: -4, battery: 13.4 }], withBattery("leadAcid")).found).toEqual([[]]);
  });
});

describe("all of the cold", () => {
  it("proves nothing by readings that are half an hour old", () => {
    const { cold, now } = play(
      [{ inside: -2, humidity: 92, lid: -6 }, ...times(2, { inside: -2, humidity: 92, lid: -6 })],
      larchSettings,
    );
    expect(coldFaults(cold, larchSettings, time.after(now, minutes(29)))).toHaveLength(1);
    expect(coldFaults(cold, larchSettings, time.after(now, minutes(31)))).toEqual([]);
    const hourly = { ...larchSettings, reportEvery: hours(1) };
    expect(coldFaults(cold, hourly, time.after(now, minutes(61)))).toHaveLength(1);
  });

  it("is not moved by a report without readings", () => {
    const { cold, now } = play([{ inside: -2, humidity: 92, lid: -6 }], larchSettings);
    expect(updateCold(cold, emptyReadings, time.after(now, minutes(1)), larchSettings)).toEqual(cold);
  });

  it("is remembered in plain JSON, whatever was measured", () => {
    const maybe = (min: number, max: number) => fc.option(fc.double({ min, max, noNaN: true }), { nil: undefined });
    const measured = fc.record({
      inside: maybe(-60, 60),
      lid: maybe(-60, 60),
      humidity: maybe(0, 100),
      battery: maybe(0, 60),
      batteryTemperature: maybe(-60, 60),
      charge: maybe(-1_000, 1_000),
    });
    fc.assert(
      fc.property(
        fc.array(measured, { maxLength: 40 }),
        fc.constantFrom<BatteryKind>("leadAcid", "lithiumIon"),
        (story, kind) => {
          const clean = story.map((step) =>
            Object.fromEntries(Object.entries(step).filter(([, value]) => value !== undefined)),
          );
          const { cold, faults } = play(clean, withBattery(kind));
          const plain = JSON.stringify({ cold, faults });
          expect(JSON.parse(plain)).toEqual(JSON.parse(JSON.stringify(JSON.parse(plain))));
          expect(plain).not.toContain("NaN");
          expect(Object.values(cold.battery).every((value) => value !== undefined)).toBe(true);
          expect(play(clean.slice(0, 3), withBattery(kind), JSON.parse(JSON.stringify(cold)) as ColdState)).toEqual(
            play(clean.slice(0, 3), withBattery(kind), cold),
          );
        },
      ),
    );
  });
});
