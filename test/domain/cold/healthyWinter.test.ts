import { describe, expect, it } from "vitest";
import {
  type ColdState,
  coldFaults,
  initialCold,
  updateCold,
  updateColdByDeposit,
  updateColdByPortion,
} from "../../../server/domain/cold/cold.ts";
import type { FaultKind } from "../../../server/domain/faults.ts";
import type { BatteryKind } from "../../../server/domain/settings.ts";
import { celsius, humidityPercent, milliamps, volts } from "../../../server/domain/units.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { portionAt } from "../hopper/rowan.ts";
import { emptyReadings, larchSettings } from "../silence/larch.ts";
import { winter } from "./winter.ts";

/** Every finding of the cold at once, over the invented winters of five months from -20 to 5 °C, with noise on everything. */
function found(seed: number, battery: BatteryKind): Map<FaultKind, number> {
  const random = seededRandom(seed);
  const settings = { ...larchSettings, battery };
  const lithium = battery === "lithiumIronPhosphate";
  const kinds = new Map<FaultKind, number>();
  let standing: readonly FaultKind[] = [];
  let cold: ColdState = initialCold();
  for (const { at, air, lid, inside, humidity } of winter(seed)) {
    const hour = new Date(at).getUTCHours();
    const sun = hour >= 9 && hour < 14;
    if (sun && random.isTrueWith(0.5)) {
      // Now and then a glitch of the converter, and a battery that cold makes softer.
      const lowest = random.isTrueWith(0.005) ? 4.4 : 4.92 + 0.003 * air + random.normal(0, 0.02);
      cold = updateColdByPortion(cold, portionAt(at, { lowestSupply: volts(lowest) }), at);
      const metal = !random.isTrueWith(0.05);
      const signal = Math.min(1, random.normal(0.82, 0.07) + 0.0033 * (inside - 10));
      cold = updateColdByDeposit(cold, { kind: "deposit", metal, signal: metal ? signal : null, chute: true }, at);
    }
    const readings = {
      ...emptyReadings,
      air: celsius(air),
      lid: celsius(lid),
      inside: celsius(inside),
      humidity: humidityPercent(humidity),
      supply: volts(5.05 + random.normal(0, 0.01)),
      battery: volts(12.5 + (sun ? 0.9 : 0) + random.normal(0, 0.03)),
      batteryTemperature: celsius(inside + random.normal(0, 0.2)),
      charge: milliamps(sun && !(lithium && inside < 1.5) ? 400 : random.normal(0, 4)),
    };
    cold = updateCold(cold, readings, at, settings);
    const now = coldFaults(cold, settings, at).map(({ kind }) => kind);
    for (const kind of now) if (!standing.includes(kind)) kinds.set(kind, (kinds.get(kind) ?? 0) + 1);
    standing = now;
  }
  return kinds;
}

/** What weather does to a feeder that is well. */
const ordinary: ReadonlySet<FaultKind> = new Set<FaultKind>(["frostInside", "iceLock", "feedCaking"]);

describe("a healthy winter", () => {
  it.each([
    [2, "lithiumIronPhosphate"],
    [3, "leadAcid"],
    [4, "leadAcid"],
  ] as const)(
    "(seed %i, %s) finds lids that truly frost, water that truly froze, food that did both, and nothing else",
    (seed, battery) => {
      const kinds = found(seed, battery);
      expect([...kinds.keys()].filter((kind) => !ordinary.has(kind))).toEqual([]);
      // Nobody refilled for five months: the note comes once and stands.
      expect(kinds.get("feedCaking")).toBe(1);
      expect(kinds.get("frostInside")).toBeGreaterThan(0);
      expect(kinds.get("iceLock")).toBeGreaterThan(0); // how often it is raised is measured in frost.test.ts
    },
  );
});
