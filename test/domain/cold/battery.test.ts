import fc from "fast-check";
import { describe, expect, it } from "vitest";
import {
  freezingPoint,
  freezingPointByGravity,
  leadAcidCellCount,
  restChargeBand,
  specificGravity,
} from "../../../server/domain/cold/battery.ts";
import { volts } from "../../../server/domain/units.ts";

describe("a lead-acid battery", () => {
  it("freezes where its electrolyte does (check values bat-freeze-*, quoted: owner's manual table; ± 3 °C elsewhere)", () => {
    const table = [
      [1.265, -59.4],
      [1.225, -37.2],
      [1.2, -27.2],
      [1.15, -15],
      [1.1, -7.8],
      [1.05, -2.8],
    ] as const;
    for (const [gravity, expected] of table)
      expect(Math.abs(freezingPointByGravity(gravity) - expected)).toBeLessThan(0.1);
  });

  it("shows its specific gravity at rest (check value bat-ocv-sg-rule, computed; coefficient from memory)", () => {
    const table = [
      [12.66, 1.265],
      [12.42, 1.225],
      [12.21, 1.19],
      [12, 1.155],
      [11.79, 1.12],
    ] as const;
    for (const [rest, gravity] of table)
      expect(Math.abs(specificGravity(volts(rest), 6) - gravity)).toBeLessThan(0.001);
  });

  it("has its charge within the band of the tables seen (check values bat-ocv-motorhome, quoted; bat-ocv-common, from memory)", () => {
    const tables = [
      [12.66, 1],
      [12.45, 0.75],
      [12.3, 0.5],
      [12.15, 0.25],
      [12.65, 1],
      [12.24, 0.5],
      [12.06, 0.25],
    ] as const;
    for (const [rest, share] of tables) {
      const band = restChargeBand("leadAcid", volts(rest));
      expect(band?.low, `${rest} V`).toBeLessThanOrEqual(share);
      expect(band?.high, `${rest} V`).toBeGreaterThanOrEqual(share - 0.01);
    }
  });

  it("has a maker's own charge for its specific gravity within its bands (check value bat-sg-soc-rolls, quoted)", () => {
    const maker = [
      [1, 1.255, 1.275],
      [0.75, 1.215, 1.235],
      [0.5, 1.18, 1.2],
      [0.25, 1.155, 1.165],
      [0, 1.11, 1.13],
    ] as const;
    for (const [share, gravityLow, gravityHigh] of maker) {
      const least = restChargeBand("leadAcid", volts(6 * (gravityLow + 0.845)));
      const most = restChargeBand("leadAcid", volts(6 * (gravityHigh + 0.845)));
      expect(least?.low, `${share}`).toBeLessThanOrEqual(share);
      expect(most?.high, `${share}`).toBeGreaterThanOrEqual(share);
    }
  });

  it("is known by its voltage to have 3, 6, 12 or 24 cells, and the same charge a cell", () => {
    expect([6.2, 12.4, 24.8, 49.6].map((voltage) => leadAcidCellCount(volts(voltage)))).toEqual([3, 6, 12, 24]);
    expect([3.7, 8.2, 16.8, 80].map((voltage) => leadAcidCellCount(volts(voltage)))).toEqual([null, null, null, null]);
    expect(restChargeBand("leadAcid", volts(24.48))).toEqual(restChargeBand("leadAcid", volts(12.24)));
  });

  it("freezes the sooner the emptier it is, and the cautious point is never below the likely one", () => {
    fc.assert(
      fc.property(
        fc.double({ min: 10.5, max: 12.8, noNaN: true }),
        fc.double({ min: 0, max: 0.5, noNaN: true }),
        (rest, more) => {
          const emptier = freezingPoint(volts(rest));
          const fuller = freezingPoint(volts(rest + more));
          if (!emptier || !fuller) throw new Error("expected 12 V batteries");
          expect(fuller.likely).toBeLessThanOrEqual(emptier.likely);
          expect(emptier.cautious).toBeGreaterThanOrEqual(emptier.likely);
          expect(emptier.cautious).toBeLessThanOrEqual(0);
        },
      ),
    );
  });

  it("left at a quarter of its charge freezes near -15 °C (trap: SG 1.150)", () => {
    const point = freezingPoint(volts(6 * (1.15 + 0.845)));
    expect(point?.likely).toBeCloseTo(-15, 1);
    expect(point?.cautious).toBeCloseTo(-12, 1);
  });
});

describe("a lithium battery", () => {
  it("is not known by its voltage at rest", () => {
    for (const kind of ["lithiumIronPhosphate", "lithiumIon", "none"] as const) {
      expect(restChargeBand(kind, volts(13.2))).toBeNull();
    }
  });
});
