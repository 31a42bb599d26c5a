import { describe, expect, it } from "vitest";
import { evaluateDiagnosis } from "./diagnosisMatrix.ts";
import { evaluateHopper } from "./hopperCoverage.ts";
import { evaluateRunOut } from "./runOutCalibration.ts";

/**
 * A small bite of `npm run judge`, so that a change which ruins judgement is seen at once and not at the next long run. The bounds
 * are wide: so few seeds scatter. What is really reached is in test/measured.md.
 */
const seeds = (count: number) => Array.from({ length: count }, (_, index) => 30_001 + index);

describe("judgement", { timeout: 120_000 }, () => {
  it("names what is wrong with a feeder that has all sensors", () => {
    const { figures } = evaluateDiagnosis(seeds(3), "all sensors");
    expect(figures["all sensors: rightly"]).toBeGreaterThan(0.87); // 21 of 24
    expect(figures["all sensors: wrongly"]).toBeLessThan(0.09); // 2 of 24
  });

  it("holds the truth in the hopper's interval about as often as it states", () => {
    const { coverage } = evaluateHopper(seeds(5)).figures;
    expect(coverage).toBeGreaterThan(0.7);
    expect(coverage).toBeLessThan(1);
  });

  it("meets the run-out within its bounds, nearer than a straight line does", () => {
    const { figures } = evaluateRunOut(seeds(2));
    expect(figures.scale).toBeGreaterThan(0.5);
    expect(figures["scale, better by"]).toBeGreaterThan(0.1);
  });
});
