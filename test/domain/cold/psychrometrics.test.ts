import fc from "fast-check";
import { describe, expect, it } from "vitest";
import {
  condensationKind,
  dewPoint,
  frostPoint,
  type MagnusCoefficients,
  overIce,
  overWater,
  saturationPressure,
  vapourPressure,
} from "../../../server/domain/cold/psychrometrics.ts";
import { celsius, humidityPercent } from "../../../server/domain/units.ts";

interface Psychrolib {
  SetUnitSystem(system: unknown): void;
  SI: unknown;
  GetSatVapPres(celsius: number): number; // Pa
  GetTDewPointFromRelHum(celsius: number, share: number): number;
}
const psychrolib = (await import("psychrolib" as string)).default as Psychrolib;
psychrolib.SetUnitSystem(psychrolib.SI);

const esOver = (set: MagnusCoefficients, at: number) => saturationPressure(set, celsius(at));
const vapour = (air: number, humidity: number) => vapourPressure(celsius(air), humidityPercent(humidity));

describe("saturated vapour", () => {
  it("is WMO-No. 8's over water (check values psy-wmo-water-*, computed; coefficients from memory)", () => {
    const table = [
      [-40, 0.1902],
      [-20, 1.2597],
      [-10, 2.8703],
      [0, 6.112],
      [20, 23.326],
      [30, 42.3372],
    ] as const;
    for (const [at, expected] of table) expect(Math.abs(esOver(overWater, at) - expected)).toBeLessThan(0.0005);
  });

  it("is WMO-No. 8's over ice (check values psy-wmo-ice-*, computed; coefficients from memory)", () => {
    const table = [
      [-40, 0.1285],
      [-20, 1.0326],
      [-10, 2.5987],
      [-5, 4.0174],
    ] as const;
    for (const [at, expected] of table) expect(Math.abs(esOver(overIce, at) - expected)).toBeLessThan(0.0005);
  });

  it("follows the set it is given (check values psy-ae-*, computed: Alduchov & Eskridge 1996, ice from memory)", () => {
    const water: MagnusCoefficients = { pressure: 6.1094, slope: 17.625, offset: 243.04 };
    const ice: MagnusCoefficients = { pressure: 6.1121, slope: 22.587, offset: 273.86 };
    const table = [
      [water, -20, 1.2578],
      [water, 0, 6.1094],
      [water, 20, 23.3344],
      [water, 30, 42.3665],
      [ice, -20, 1.0313],
      [ice, -10, 2.5967],
    ] as const;
    for (const [set, at, expected] of table) expect(Math.abs(esOver(set, at) - expected)).toBeLessThan(0.0005);
  });

  it("is within half a percent of ASHRAE's, over ice below 0 °C (check values psy-ashrae-*; psychrolib 1.1.1)", () => {
    const table = [
      [-40, 0.1285],
      [-20, 1.0326],
      [-10, 2.599],
      [0, 6.1115],
      [10, 12.28],
      [20, 23.388],
      [30, 42.4603],
    ] as const;
    for (const [at, expected] of table) {
      expect(Math.abs(psychrolib.GetSatVapPres(at) / 100 - expected)).toBeLessThan(0.0005);
      expect(Math.abs(esOver(at < 0 ? overIce : overWater, at) / expected - 1)).toBeLessThan(0.005);
    }
  });

  it("over ice meets that over water at 0 °C and lies below it in the cold", () => {
    expect(esOver(overIce, 0)).toBe(esOver(overWater, 0));
    fc.assert(
      fc.property(fc.double({ min: -45, max: -0.01, noNaN: true }), (at) => {
        expect(esOver(overIce, at)).toBeLessThan(esOver(overWater, at));
      }),
    );
  });
});

describe("dew and frost point", () => {
  it("are the Magnus inverse, humidity over water at any temperature (check values psy-dewfrost-*, computed)", () => {
    const table = [
      [20, 50, 9.255, null],
      [5, 90, 3.495, null],
      [2, 95, 1.283, null],
      [0, 80, -3.04, -2.682],
      [-5, 90, -6.386, -5.65],
      [-10, 85, -12.044, -10.709],
      [-10, 70, -14.439, -12.866],
      [-20, 80, -22.563, -20.254],
    ] as const;
    for (const [air, humidity, dew, frost] of table) {
      expect(Math.abs(dewPoint(vapour(air, humidity)) - dew)).toBeLessThan(0.002);
      const point = frostPoint(vapour(air, humidity));
      if (frost === null) expect(point).toBeNull();
      else expect(Math.abs((point ?? Number.NaN) - frost)).toBeLessThan(0.002);
    }
  });

  it("don't fall for humidity over ice (check value psy-trap-psychrolib-rh-ice: psychrolib says -11.818 at -10 °C, 85 %)", () => {
    expect(psychrolib.GetTDewPointFromRelHum(-10, 0.85)).toBeCloseTo(-11.818, 2);
    expect(dewPoint(vapour(-10, 85))).toBeCloseTo(-12.044, 2);
    expect(frostPoint(vapour(-10, 85))).toBeCloseTo(-10.709, 2);
  });

  it("agree with psychrolib above freezing, where both mean the same", () => {
    fc.assert(
      fc.property(
        fc.double({ min: 5, max: 35, noNaN: true }),
        fc.double({ min: 60, max: 100, noNaN: true }),
        (air, rh) => {
          const oracle = psychrolib.GetTDewPointFromRelHum(air, rh / 100);
          fc.pre(oracle > 0.5);
          expect(Math.abs(dewPoint(vapour(air, rh)) - oracle)).toBeLessThan(0.1);
        },
      ),
    );
  });

  it("keep their order below freezing: dew point ≤ frost point ≤ 0 °C", () => {
    fc.assert(
      fc.property(
        fc.double({ min: -40, max: 0, noNaN: true }),
        fc.double({ min: 1, max: 100, noNaN: true }),
        (air, rh) => {
          const point = frostPoint(vapour(air, rh));
          if (point === null) throw new Error("expected a frost point of air at or below 0 °C");
          expect(point).toBeGreaterThanOrEqual(dewPoint(vapour(air, rh)) - 1e-9);
          expect(point).toBeLessThanOrEqual(0);
        },
      ),
    );
  });

  it("stay finite for a sensor that reports 0 %", () => {
    expect(dewPoint(vapour(-5, 0))).toBeLessThan(-50);
  });
});

describe("humidity over ice", () => {
  it("is full where a sensor reads 82 % at -20 °C (check value psy-trap-max-rh-water-at-ice-sat, computed)", () => {
    const table = [
      [-5, 95.16],
      [-10, 90.54],
      [-20, 81.98],
      [-40, 67.56],
    ] as const;
    for (const [at, read] of table) {
      expect(Math.abs((100 * vapour(at, read)) / esOver(overIce, at) - 100)).toBeLessThan(0.03);
    }
  });
});

describe("what settles on a surface", () => {
  it("is nothing, dew or frost (check value psy-surface-risk, computed: air 2 °C, 95 %)", () => {
    const e = vapour(2, 95);
    expect(Math.abs(e - 6.7042)).toBeLessThan(0.0005);
    const table = [
      [1.5, "none", 6.8094],
      [1, "dew", 6.5695],
      [-1, "frost", 5.6269],
    ] as const;
    for (const [surface, expected, saturated] of table) {
      expect(condensationKind(e, celsius(surface))).toBe(expected);
      expect(Math.abs(esOver(surface < 0 ? overIce : overWater, surface) - saturated)).toBeLessThan(0.0005);
    }
  });

  it("is nothing at the dew point and the frost point themselves, where as much evaporates as settles", () => {
    expect(condensationKind(esOver(overWater, 4), celsius(4))).toBe("none");
    expect(condensationKind(esOver(overIce, -4), celsius(-4))).toBe("none");
  });
});
