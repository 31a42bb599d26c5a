import { describe, expect, it } from "vitest";
import { type Caking, cakingFault, initialCaking, updateCaking } from "../../../server/domain/cold/caking.ts";
import { initialCharging } from "../../../server/domain/cold/charging.ts";
import { coldFaults, initialCold, updateCold, updateColdByRefill } from "../../../server/domain/cold/cold.ts";
import { initialFrost, updateFrost } from "../../../server/domain/cold/frost.ts";
import { assumeLid, updateNight } from "../../../server/domain/cold/nightCooling.ts";
import {
  initialSupply,
  type SupplyState,
  supplyVoltageMin,
  updateSupplyByPortion,
  updateSupplyByReadings,
  weakSupplyFault,
} from "../../../server/domain/cold/weakSupply.ts";
import { after, hours, type Instant, instantOf, minutes, type Span } from "../../../server/domain/instant.ts";
import type { Readings } from "../../../server/domain/report.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { celsius, humidityPercent, milliamps, volts } from "../../../server/domain/units.ts";
import { barePortion } from "../portionFixture.ts";
import { rowanSettings } from "../rowan.ts";
import { emptyReadings } from "../silence/larch.ts";

const start = instantOf("2026-12-01T12:00:00Z");
const at = (minute: number): Instant => after(start, minutes(minute));
const readings = (different: Partial<Readings>): Readings => ({ ...emptyReadings, ...different });

describe("food that freezes and thaws", () => {
  const after = (cycles: number, dampHours: number): Caking => ({
    ...initialCaking(),
    freezeThaw: { isFrozen: false, cycles },
    dampTime: hours(dampHours),
    firstReadingAt: start,
  });

  it("is a note from ten cycles on, or from four where the box was damp for half a day", () => {
    expect([cakingFault(after(9, 0)), cakingFault(after(3, 12)), cakingFault(after(9, 11.9))]).toEqual([
      null,
      null,
      null,
    ]);
    expect(cakingFault(after(10, 0))?.reason).toMatch(/10 times since the last refill: it may/);
    expect(cakingFault(after(4, 12))?.reason).toMatch(/4 times since the last refill, and the box was damp in between/);
    expect(cakingFault(after(4, 12))?.evidence.map(({ value, at }) => [value, at])).toEqual([
      ["4", start],
      ["12", null],
    ]);
  });

  it("counts as damp from 85 % on, above 0 °C, and half an hour at most between two reports", () => {
    const dampTime = (humidity: number | null, degrees: number, gap = 10) => {
      const of = (minute: number, before: Caking) =>
        updateCaking(
          before,
          readings({ inside: celsius(degrees), humidity: humidity === null ? null : humidityPercent(humidity) }),
          at(minute),
        );
      return of(gap, of(0, initialCaking())).dampTime;
    };
    expect([dampTime(85, 1), dampTime(84.9, 1), dampTime(85, 0), dampTime(null, 1)]).toEqual([minutes(10), 0, 0, 0]);
    expect([dampTime(85, 1, 30), dampTime(85, 1, 45)]).toEqual([minutes(30), minutes(30)]);
    expect(dampTime(85, 1, -10)).toBe(0);
  });

  it("is judged in the box, or in the air where the box has no thermometer, with a degree to either side of 0 °C", () => {
    const frozen = (of: Partial<Readings>) => updateCaking(initialCaking(), readings(of), start).freezeThaw.isFrozen;
    expect(frozen({ inside: celsius(-1), air: celsius(5) })).toBe(true);
    expect(frozen({ inside: celsius(-0.9) })).toBe(false);
    expect(frozen({ air: celsius(-1) })).toBe(true);
    const before = initialCaking();
    expect(updateCaking(before, readings({ lid: celsius(-9) }), start)).toBe(before);
  });

  it("is fresh after a refill", () => {
    const caked = { ...initialCold(), caking: after(12, 0) };
    expect(updateColdByRefill(caked).caking).toEqual(initialCaking());
  });
});

describe("a supply", () => {
  const sound = (count = 10, voltage = 5): SupplyState =>
    Array.from({ length: count }).reduce<SupplyState>(
      (supply) => updateSupplyByReadings(supply, readings({ supply: volts(voltage) }), start),
      initialSupply(),
    );
  const portion = (lowest: number | null, ran: Span | null = 2_000 as Span) => ({
    ...barePortion,
    motorRan: ran,
    lowestSupply: lowest === null ? null : volts(lowest),
  });

  it("is too low below what its board needs: 4.63 V of 5 V, else a tenth below", () => {
    expect(supplyVoltageMin(volts(5))).toBe(4.63);
    expect([4.5, 5.5].map((usual) => supplyVoltageMin(volts(usual)))).toEqual([4.63, 4.63]);
    expect(supplyVoltageMin(volts(3.3))).toBeCloseTo(2.97, 9);
    expect([2.97, 3.63].map((usual) => supplyVoltageMin(volts(usual)))).toEqual([0.9 * 3.3, 0.9 * 3.3]);
    expect([10.5, 15].map((usual) => supplyVoltageMin(volts(usual)))).toEqual([10.8, 10.8]);
    expect([21, 30].map((usual) => supplyVoltageMin(volts(usual)))).toEqual([0.9 * 24, 0.9 * 24]);
    expect([2.9, 4, 8, 18, 40].map((usual) => supplyVoltageMin(volts(usual)))).toEqual(
      [2.9, 4, 8, 18, 40].map((usual) => 0.9 * usual),
    );
  });

  it("is judged once ten values are known, by each run of the motor", () => {
    expect(updateSupplyByPortion(sound(9), portion(4), start).sagCount).toBe(0);
    expect(updateSupplyByPortion(sound(10), portion(4), start)).toMatchObject({
      sagCount: 1,
      runCount: 1,
      lowest: { volts: 4, at: start },
    });
    expect(updateSupplyByPortion(sound(), portion(4.63), start).sagCount).toBe(0);
    const still = sound();
    expect(updateSupplyByPortion(still, portion(4, 0 as Span), start)).toBe(still); // the motor didn't run
  });

  it("is judged by the next report where a portion doesn't have its voltage, and only then", () => {
    const report = (supply: SupplyState) => updateSupplyByReadings(supply, readings({ supply: volts(4) }), start);
    const unmeasured = updateSupplyByPortion(sound(), portion(null), start);
    expect(unmeasured.hasUnmeasuredRun).toBe(true);
    expect(updateSupplyByPortion(unmeasured, portion(null), start)).toBe(unmeasured);
    expect(report(unmeasured)).toMatchObject({ sagCount: 1, hasUnmeasuredRun: false });
    expect(report(sound()).sagCount).toBe(0);
  });

  it("learns its usual voltage from portions only where no report has it", () => {
    const learnt = updateSupplyByPortion(initialSupply(), portion(5), start);
    expect(learnt).toMatchObject({ usualVoltage: 5, valuesLearnt: 1 });
    expect(updateSupplyByPortion(sound(), portion(5), start).valuesLearnt).toBe(10);
    expect(updateSupplyByReadings(learnt, readings({ supply: volts(5.2) }), start)).toMatchObject({
      usualVoltage: 5.1,
      valuesLearnt: 2,
      hasReadings: true,
    });
  });

  const sags = (supply: SupplyState, ...lowest: readonly number[]) =>
    lowest.reduce((before, value, n) => updateSupplyByPortion(before, portion(value), at(n)), supply);

  it("is weak after four drops close together, with its lowest and newest", () => {
    expect(sags(sound(), 4, 4.2, 4.1).isWeak).toBe(false);
    const weak = sags(sound(), 4.2, 4, 4, 4.3);
    expect(weak).toMatchObject({ isWeak: true, sagCount: 4, runCount: 4, lowest: { volts: 4, at: at(2) } });
    const fault = weakSupplyFault({ ...weak, batteryTemperature: celsius(-5) }, rowanSettings);
    expect(fault?.reason).toContain(
      "In 4 of the last 4 runs of the motor the supply fell below 4.63 V, at worst to 4.00 V.",
    );
    expect(fault?.evidence.map(({ value }) => value)).toEqual(["4.00 V", "4.63 V", "4 of 4", "5.00 V", "−5 °C"]);
    expect(weakSupplyFault(sags(sound(), 4), rowanSettings)).toBeNull();
  });

  it("recovers by some twenty good runs, however long it was bad", () => {
    const bad = sags(sound(), ...Array.from({ length: 99 }, () => 4));
    const good = (count: number) => sags(bad, ...Array.from({ length: count }, () => 5)).isWeak;
    expect(good(20)).toBe(true);
    expect(good(27)).toBe(false);
  });

  it("has the temperature of its battery, or of the box, or the last one known", () => {
    const of = (different: Partial<Readings>, before = initialSupply()) =>
      updateSupplyByReadings(before, readings(different), start).batteryTemperature;
    expect(of({ batteryTemperature: celsius(-3), inside: celsius(4) })).toBe(-3);
    expect(of({ inside: celsius(4) })).toBe(4);
    const known = { ...initialSupply(), batteryTemperature: celsius(7) };
    expect(of({}, known)).toBe(7);
    expect(updateSupplyByReadings(known, readings({}), start)).toBe(known);
  });
});

describe("a lid without a thermometer", () => {
  const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
  const midnight = instantOf("2026-12-01T23:00:00Z");
  const noon = instantOf("2026-12-01T11:00:00Z");
  const air = (degrees: number, more: Partial<Readings> = {}) => readings({ air: celsius(degrees), ...more });
  const night = (warmest: number, coolest = warmest) => ({
    since: midnight,
    warmest: celsius(warmest),
    coolest: celsius(coolest),
  });

  it("is two degrees below the air after three degrees of cooling, while the air doesn't warm again", () => {
    const clear = (warmest: number, coolest: number, now: number) =>
      assumeLid(night(warmest, coolest), air(now), midnight, place)?.isUnderClearSky;
    expect([clear(5, 2, 2), clear(4.9, 2, 2)]).toEqual([true, false]);
    expect([clear(5, 1, 1.7), clear(5, 1, 1.8)]).toEqual([true, false]);
    expect(assumeLid(night(5, 2), air(2), midnight, place)?.surfaceTemperature).toBe(0);
    expect(assumeLid(night(4, 2), air(2), midnight, place)?.surfaceTemperature).toBe(2);
  });

  it("is under no clear sky by day, nor where the place isn't known", () => {
    expect(assumeLid(night(9, 2), air(2), noon, place)?.isUnderClearSky).toBe(false);
    expect(assumeLid(night(9, 2), air(2), midnight, null)?.isUnderClearSky).toBe(false);
    expect(assumeLid(null, air(2), midnight, place)?.isUnderClearSky).toBe(false);
  });

  it("isn't assumed where it is measured, or the air isn't", () => {
    expect(assumeLid(night(9, 2), air(2, { lid: celsius(1) }), midnight, place)).toBeNull();
    expect(assumeLid(night(9, 2), readings({}), midnight, place)).toBeNull();
    expect(assumeLid(null, readings({ inside: celsius(3) }), midnight, place)?.surfaceTemperature).toBe(3);
  });

  it("knows the warmest and the coolest air since sunset, again each day and each 24 hours of a polar night", () => {
    expect(updateNight(null, air(3), midnight, place)).toEqual({ since: midnight, warmest: 3, coolest: 3 });
    expect(updateNight(night(3), air(5), midnight, place)).toMatchObject({ warmest: 5, coolest: 3 });
    expect(updateNight(night(3), air(1), midnight, place)).toMatchObject({ warmest: 3, coolest: 1 });
    const known = night(3, 1);
    expect(updateNight(known, air(2), midnight, place)).toBe(known);
    expect(updateNight(known, air(2), noon, place)).toBeNull();
    expect(updateNight(known, air(2, { lid: celsius(1) }), midnight, place)).toBeNull();
    expect(updateNight(known, air(2), midnight, null)).toBeNull();
    expect(updateNight(known, readings({}), midnight, place)).toBe(known);
    expect(updateNight(known, air(2), after(midnight, hours(24)), place)).toBe(known);
    expect(updateNight(known, air(2), after(midnight, hours(24.1)), place)?.warmest).toBe(2);
  });
});

describe("findings of cold", () => {
  const lithium: FeederSettings = { ...rowanSettings, battery: "lithiumIon" };
  const frozen = updateCold(
    initialCold(),
    readings({ batteryTemperature: celsius(-5), charge: milliamps(300) }),
    start,
    lithium,
  );
  const kinds = (minute: number, settings = lithium) =>
    coldFaults(frozen, settings, at(minute)).map(({ kind }) => kind);

  it("prove nothing any more after half an hour, or two reports' time", () => {
    expect(kinds(30)).toEqual(["chargingInFrost"]);
    expect(kinds(30.1)).toEqual([]);
    expect(kinds(60, { ...lithium, reportEvery: minutes(30) })).toEqual(["chargingInFrost"]);
    expect(kinds(60.1, { ...lithium, reportEvery: minutes(30) })).toEqual([]);
  });

  it("are of the battery that the feeder has", () => {
    expect(kinds(1, { ...lithium, battery: "leadAcid" })).toEqual([]);
    expect(kinds(1, { ...lithium, battery: "lithiumIronPhosphate" })).toEqual(["chargingInFrost"]);
    expect(updateCold(frozen, readings({}), start, { ...lithium, battery: "none" }).charging).toEqual(
      initialCharging(),
    );
  });
});

describe("frost on a practice feeder", () => {
  const settings = { place: null, practice: true };
  const cold = {
    ...initialFrost(),
    found: {
      at: start,
      surfaceTemperature: celsius(-3),
      place: "lid",
      isEstimated: false,
      kind: "remaining",
      dryingSince: null,
    },
  } as const;

  it("goes with the chosen fault, and stays on a real one until it thaws or dries", () => {
    const dry = readings({ lid: celsius(-3), inside: celsius(-3), humidity: humidityPercent(30) });
    expect(updateFrost(cold, dry, at(1), settings).found).toBeNull();
    expect(updateFrost(cold, dry, at(1), { ...settings, practice: false }).found).not.toBeNull();
  });
});
