import { describe, expect, it } from "vitest";
import { freezingPoint, interpolate, leadAcidCellCount, restChargeBand } from "../../../server/domain/cold/battery.ts";
import { coldBatteryText, leadAcidCapacity } from "../../../server/domain/cold/capacityInCold.ts";
import { chargingInFrostFault, initialCharging, updateCharging } from "../../../server/domain/cold/charging.ts";
import { initialFreezingBattery, updateFreezingBattery } from "../../../server/domain/cold/freezingBattery.ts";
import { after, hours, type Instant, instantOf, minutes, type Span } from "../../../server/domain/instant.ts";
import type { Readings } from "../../../server/domain/report.ts";
import { celsius, milliamps, volts } from "../../../server/domain/units.ts";
import { emptyReadings } from "../silence/larch.ts";

const start = instantOf("2026-12-01T12:00:00Z");
const at = (minute: number): Instant => after(start, minutes(minute));
const readings = (different: Partial<Readings>): Readings => ({ ...emptyReadings, ...different });

describe("a lithium battery in frost", () => {
  const charging = (degrees: number, current: number, before = initialCharging(), box = false) =>
    updateCharging(
      before,
      readings({ [box ? "inside" : "batteryTemperature"]: celsius(degrees), charge: milliamps(current) }),
      start,
    );

  it("must not be charged below 0 °C by its own thermometer, and below −2 °C by the box's", () => {
    expect([-0.1, 0].map((degrees) => charging(degrees, 300).found !== null)).toEqual([true, false]);
    expect([-2.1, -2].map((degrees) => charging(degrees, 300, initialCharging(), true).found !== null)).toEqual([
      true,
      false,
    ]);
    expect(charging(-5, 300).found?.thermometer).toBe("battery");
    expect(charging(-5, 300, initialCharging(), true).found?.thermometer).toBe("box");
  });

  it("is charged from more than 50 mA on, and until 25 mA", () => {
    const found = charging(-5, 300);
    expect([50, 51].map((current) => charging(-5, current).found !== null)).toEqual([false, true]);
    expect([25, 26].map((current) => charging(-5, current, found).found !== null)).toEqual([false, true]);
  });

  it("is warm again from one degree more on", () => {
    const found = charging(-5, 300);
    expect([0.9, 1].map((degrees) => charging(degrees, 300, found).found !== null)).toEqual([true, false]);
  });

  it("is not known without current or temperature: then the finding stays", () => {
    const found = charging(-5, 300);
    expect(updateCharging(found, readings({ batteryTemperature: celsius(-5) }), start)).toBe(found);
    expect(updateCharging(found, readings({ charge: milliamps(300) }), start)).toBe(found);
  });

  it("is shown as charged for a quarter of an hour after the last report of it", () => {
    const { found } = charging(-5, 300);
    if (found === null) throw new Error("expected a finding");
    expect(chargingInFrostFault(found, at(15)).reason).toMatch(/^Current flows/);
    expect(chargingInFrostFault(found, after(at(15), 1 as Span)).reason).toMatch(/^Current flowed/);
  });
});

describe("a lead-acid battery", () => {
  it("has as many cells as its voltage allows, from 1.5 to 2.5 V each", () => {
    expect(
      [4.49, 4.5, 7.5, 7.51, 9, 15, 15.1, 18, 30, 36, 60, 60.1].map((voltage) => leadAcidCellCount(volts(voltage))),
    ).toEqual([...[null, 3, 3, null, 6, 6, null, 12, 12, 24, 24, null]]);
    expect(freezingPoint(volts(8))).toBeNull();
    expect(restChargeBand("leadAcid", volts(8))).toBeNull();
    for (const kind of ["lithiumIon", "lithiumIronPhosphate", "none"] as const)
      expect(restChargeBand(kind, volts(12.5))).toBeNull();
  });

  it("freezes as water does when it is flat: cautiously 3 °C sooner, and never above 0 °C", () => {
    expect(freezingPoint(volts(6 * 1.845))).toEqual({ likely: 0, cautious: 0 });
    const half = freezingPoint(volts(6 * (1.1 + 0.845)));
    expect(half?.likely).toBeCloseTo(-7.8, 9);
    expect(half?.cautious).toBeCloseTo(-4.8, 9);
  });

  it("is read from curves that are straight between their points and constant beyond", () => {
    const curve = [
      [0, 0],
      [1, 10],
      [3, 20],
    ] as const;
    expect([-1, 0, 0.5, 1, 2, 3, 9].map((x) => interpolate(curve, x))).toEqual([0, 0, 5, 10, 15, 20, 20]);
    expect(interpolate([], 5)).toBe(0);
  });

  const rested = (...voltages: readonly number[]) =>
    voltages.reduce(
      (battery, voltage, n) =>
        updateFreezingBattery(
          battery,
          readings({ battery: volts(voltage), batteryTemperature: celsius(10) }),
          at(10 * n),
        ),
      initialFreezingBattery(),
    );

  it("rests at the highest of three voltages in a row: a drop under the motor is no rest", () => {
    expect(rested(12.5, 12.4).lowestVoltage).toBeNull();
    expect(rested(12.5, 12.4, 12.6).lowestVoltage).toBe(12.6);
    expect(rested(12.6, 11, 12.6, 12.6).lowestVoltage).toBe(12.6);
    expect(rested(12.6, 12.2, 12.2, 12.2, 12.6).lowestVoltage).toBe(12.2);
  });

  it("shows no rest while more than 30 mA flow in, and the lowest of a half day and the one before", () => {
    const report = (before: ReturnType<typeof rested>, voltage: number, minute: number, charge: number | null = null) =>
      updateFreezingBattery(
        before,
        readings({
          battery: volts(voltage),
          batteryTemperature: celsius(10),
          charge: charge === null ? null : milliamps(charge),
        }),
        at(minute),
      );
    const known = rested(12.2, 12.2, 12.2);
    expect(report(known, 11.9, 40, 31).lastVoltage).toBe(12.2);
    expect(report(known, 11.9, 40, 30).lastVoltage).toBe(11.9);
    const nextHalfDay = report(known, 12.5, 12 * 60);
    expect(nextHalfDay).toMatchObject({ previousLowestVoltage: 12.2, lowestVoltage: 12.5 });
    expect(report(known, 12.5, 24 * 60)).toMatchObject({ previousLowestVoltage: null });
    expect(report(nextHalfDay, 12.5, 5)).toMatchObject({ previousLowestVoltage: 12.2, halfDay: nextHalfDay.halfDay });
  });

  it("is near freezing by the lower of the two half days' voltages", () => {
    const cold = (lowest: number | null, previous: number | null) =>
      updateFreezingBattery(
        {
          ...initialFreezingBattery(),
          halfDay: Math.floor(start / hours(12)),
          lowestVoltage: lowest === null ? null : volts(lowest),
          previousLowestVoltage: previous === null ? null : volts(previous),
        },
        readings({ batteryTemperature: celsius(-8) }),
        start,
      ).found?.restVoltage ?? null;
    expect([cold(11.6, 12.6), cold(12.6, 11.6), cold(11.6, null), cold(null, 11.6)]).toEqual([11.6, 11.6, 11.6, 11.6]);
    expect([cold(12.6, 12.7), cold(null, null)]).toEqual([null, null]);
  });

  it("gives less in the cold, named from seven eighths down (IEEE Std 485, table 1)", () => {
    const fahrenheit = (degrees: number) => celsius(((degrees - 32) * 5) / 9);
    expect(leadAcidCapacity(fahrenheit(77))).toBe(1);
    expect(leadAcidCapacity(fahrenheit(60))).toBeCloseTo(1 / 1.11, 9);
    expect(leadAcidCapacity(fahrenheit(50))).toBeCloseTo(1 / 1.19, 9);
    expect(leadAcidCapacity(fahrenheit(40))).toBeCloseTo(1 / 1.3, 9);
    expect(leadAcidCapacity(fahrenheit(25))).toBeCloseTo(1 / 1.52, 9);
    const text = (degrees: number) =>
      coldBatteryText("leadAcid", celsius(degrees))?.match(/(less than|about) [a-z ]+/)?.[0] ?? null;
    expect(text(14)).toBeNull();
    expect(text(10)).toBe("about four fifths of its capacity");
    expect(text(4)).toBe("about three quarters of its capacity");
    expect(text(-3)).toBe("about two thirds of its capacity");
    expect(coldBatteryText("leadAcid", fahrenheit(25))).toContain("about two thirds");
    expect(text(-3.9)).toBe("less than two thirds of its capacity");
  });

  it("of another kind has its own limit: −20 and −30 °C", () => {
    const text = (kind: "lithiumIon" | "lithiumIronPhosphate", degrees: number) =>
      coldBatteryText(kind, celsius(degrees));
    expect(text("lithiumIon", -20)).toBeNull();
    expect(text("lithiumIon", -20.1)).toContain("not be used below −20 °C");
    expect(text("lithiumIronPhosphate", -20)).toBeNull();
    expect(text("lithiumIronPhosphate", -20.1)).toContain("gives little");
    expect(text("lithiumIronPhosphate", -30)).toContain("gives little");
    expect(text("lithiumIronPhosphate", -30.1)).toContain("not be used below −30 °C");
    expect(coldBatteryText("none", celsius(-40))).toBeNull();
  });
});
