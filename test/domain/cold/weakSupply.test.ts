import { describe, expect, it } from "vitest";
import { readReport } from "../../../server/contract/readReport.ts";
import { reportExample } from "../../../server/contract/reportExample.ts";
import { dischargeTemperatureMin, leadAcidCapacity } from "../../../server/domain/cold/capacityInCold.ts";
import { coldFaults, initialCold, updateCold, updateColdByPortion } from "../../../server/domain/cold/cold.ts";
import { supplyVoltageMin } from "../../../server/domain/cold/weakSupply.ts";
import { after, instantOf, minutes } from "../../../server/domain/instant.ts";
import type { BatteryKind } from "../../../server/domain/settings.ts";
import { celsius, volts } from "../../../server/domain/units.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { portionAt } from "../hopper/rowan.ts";
import { emptyReadings, larchSettings } from "../silence/larch.ts";

const start = instantOf("2026-01-15T00:00:00Z");

/** A feeder that has reported its supply for an hour; then portions, each with a report. */
function bench(usual: number | null = 5.05, battery: BatteryKind = "none", cold: number | null = null) {
  const settings = { ...larchSettings, battery };
  let state = initialCold();
  let now = start;
  const report = (supply: number | null = usual) => {
    now = after(now, minutes(1));
    const readings = {
      ...emptyReadings,
      supply: supply === null ? null : volts(supply),
      batteryTemperature: cold === null ? null : celsius(cold),
    };
    state = updateCold(state, readings, now, settings);
  };
  const weak = () => coldFaults(state, settings, now).find(({ kind }) => kind === "supplyWeak") ?? null;
  for (let n = 0; n < 60; n++) report();
  return {
    weak,
    report,
    ran: (lowest: number | null, supply: number | null = usual) => {
      state = updateColdByPortion(state, portionAt(now, { lowestSupply: lowest === null ? null : volts(lowest) }), now);
      report(supply);
      return weak();
    },
    state: () => state,
  };
}

describe("a supply under its motor", () => {
  it("is warned of below 4.63 V on a 5 V rail (check value bat-5v-undervolt, from memory), a tenth below nominal elsewhere", () => {
    for (const usual of [4.75, 5, 5.06, 5.3]) expect(supplyVoltageMin(volts(usual))).toBe(4.63);
    expect(supplyVoltageMin(volts(12.6))).toBeCloseTo(10.8, 9);
    expect(supplyVoltageMin(volts(13.6))).toBeCloseTo(10.8, 9);
    expect(supplyVoltageMin(volts(25))).toBeCloseTo(21.6, 9);
    expect(supplyVoltageMin(volts(3.3))).toBeCloseTo(2.97, 9);
    expect(supplyVoltageMin(volts(4))).toBeCloseTo(3.6, 9); // of no usual name: below what is usual
  });

  it("is called weak after four sags close together, and not after one or two", () => {
    const { ran } = bench();
    for (let n = 0; n < 20; n++) expect(ran(4.95)).toBeNull();
    expect(ran(4.5)).toBeNull();
    expect(ran(4.41)).toBeNull();
    expect(ran(4.52)).toBeNull();
    expect(ran(4.55)?.reason).toBe(
      "In 4 of the last 4 runs of the motor the supply fell below 4.63 V, at worst to 4.41 V.",
    );
  });

  it("is found also where only some of the runs sag", () => {
    const { ran, weak } = bench();
    for (let n = 0; n < 40 && weak() === null; n++) ran(n % 3 === 0 ? 4.5 : 4.8);
    expect(weak()).not.toBeNull();
  });

  it("is sound again after some twenty good runs, however long it was weak, and doesn't flicker before", () => {
    const { ran } = bench();
    for (let n = 0; n < 300; n++) ran(4.4);
    const runs = Array.from({ length: 40 }, () => ran(4.95) !== null);
    const cleared = runs.indexOf(false);
    expect(cleared).toBeGreaterThan(10);
    expect(cleared).toBeLessThan(30);
    expect(runs.slice(cleared)).not.toContain(true);
  });

  it("is counted again after it was sound: old sags and the old lowest value are not in the next finding", () => {
    const { ran, state } = bench();
    for (let n = 0; n < 8; n++) ran(4.1);
    for (let n = 0; n < 60; n++) ran(4.95);
    expect(state().supply).toMatchObject({ evidence: 0, sagCount: 0, runCount: 0, lowest: null, isWeak: false });
    for (let n = 0; n < 3; n++) expect(ran(4.5)).toBeNull();
    expect(ran(4.5)?.reason).toBe(
      "In 4 of the last 4 runs of the motor the supply fell below 4.63 V, at worst to 4.50 V.",
    );
  });

  it("is judged by the lowest since the last report where the portion doesn't tell, and only if the motor ran", () => {
    const { ran, report, weak } = bench();
    for (let n = 0; n < 3; n++) expect(ran(null, 4.5)).toBeNull();
    expect(ran(null, 4.5)).not.toBeNull();
    const still = bench();
    for (let n = 0; n < 20; n++) still.report(4.5);
    expect(still.weak()).toBeNull();
    for (let n = 0; n < 30; n++) report(4.5);
    expect(weak()).not.toBeNull(); // standing still proves nothing either way
  });

  it("is learnt from the portions alone where the supply is never read, and judged on none before ten are known", () => {
    const { ran, weak } = bench(null);
    for (let n = 0; n < 9; n++) expect(ran(4.5)).toBeNull();
    for (let n = 0; n < 5; n++) ran(4.5);
    expect(weak()).not.toBeNull();
  });

  it("raises less than one alarm a year where one run in a hundred sags by chance (five and a half years of a hundred portions a day)", () => {
    const random = seededRandom(5);
    let alarms = 0;
    let before = false;
    const { ran } = bench();
    for (let n = 0; n < 200_000; n++) {
      const weak = ran(random.isTrueWith(0.01) ? 4.5 : 4.9) !== null;
      if (weak && !before) alarms += 1;
      before = weak;
    }
    expect(alarms).toBeLessThanOrEqual(5); // none was measured
  });

  it("is found with what the cold takes from its battery, by its kind", () => {
    const reasonAt = (kind: BatteryKind, battery: number) => {
      const { ran, weak } = bench(12.6, kind, battery);
      for (let n = 0; n < 6; n++) ran(10.1);
      return weak()?.reason.split(" V. ")[1] ?? null;
    };
    expect(reasonAt("leadAcid", 20)).toBeNull();
    expect(reasonAt("leadAcid", 4)).toBe("In this cold the battery gives about three quarters of its capacity.");
    expect(reasonAt("leadAcid", -15)).toBe("In this cold the battery gives less than two thirds of its capacity.");
    expect(reasonAt("lithiumIronPhosphate", -5)).toBeNull();
    expect(reasonAt("lithiumIronPhosphate", -24)).toBe("In this cold a lithium battery gives little.");
    expect(reasonAt("lithiumIon", -24)).toBe("Its kind of battery should not be used below −20 °C.");
    expect(reasonAt("none", -24)).toBeNull();
  });
});

describe("a lead-acid battery's capacity in the cold", () => {
  it("is that of IEEE Std 485 (check value bat-ieee485-factor, from memory), and at most its last below", () => {
    const table = [
      [77, 1],
      [60, 0.901],
      [50, 0.84],
      [40, 0.769],
      [25, 0.658],
    ] as const;
    for (const [fahrenheit, share] of table) {
      expect(Math.abs(leadAcidCapacity(celsius(((fahrenheit - 32) * 5) / 9)) - share)).toBeLessThan(0.005);
    }
    expect(leadAcidCapacity(celsius(-25))).toBeCloseTo(0.658, 3);
  });
});

describe("a lithium battery", () => {
  it("is not discharged below -30 and -20 °C (check values bat-lfp- and bat-liion-charge-window, quoted)", () => {
    expect(dischargeTemperatureMin).toEqual({ lithiumIronPhosphate: -30, lithiumIon: -20 });
  });
});

describe("a portion", () => {
  it("tells the least that the supply gave, or nothing", () => {
    const read = (lowestVolts: unknown) => {
      const [deposit, portion] = reportExample.events;
      const posted = readReport({ ...reportExample, events: [deposit, { ...portion, lowestVolts }] });
      if (posted.kind !== "read") throw new Error("expected a readable report");
      return posted.report.events.map(({ content }) => (content.kind === "portion" ? content.lowestSupply : ""));
    };
    expect(read(4.96)).toEqual(["", 4.96]);
    expect(read(undefined)).toEqual(["", null]);
    expect(read(null)).toEqual(["", null]);
    expect(read(61)).toEqual([""]); // refused alone
  });
});
