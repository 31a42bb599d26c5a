import { execFile } from "node:child_process";
import { promisify } from "node:util";
import { beforeAll, describe, expect, it } from "vitest";

/**
 * A small bite of `npm run judge:simulator`, so that a change which ruins judgement is seen at once and not at the next long run. The bounds
 * are wide: so few seeds scatter. What is really reached is in test/measured.md.
 *
 * It is all computing, so it has a process of its own: in this one each call between two modules passes the test runner, and is
 * counted for the coverage.
 */
describe("judgement", () => {
  let figures: Readonly<Record<"diagnosis" | "hopper" | "runOut", Readonly<Record<string, number>>>>;
  beforeAll(async () => {
    const { NODE_V8_COVERAGE: _, ...env } = process.env;
    const args = ["--import", "tsx", "test/evaluation/shortEvaluation.ts"];
    const { stdout } = await promisify(execFile)(process.execPath, args, { env });
    figures = JSON.parse(stdout);
  }, 300_000);

  it("names what is wrong with a feeder that has all sensors", () => {
    expect(figures.diagnosis["all sensors: rightly"]).toBeGreaterThan(0.86); // 7 of 8
    expect(figures.diagnosis["all sensors: wrongly"]).toBeLessThan(0.13); // 1 of 8
  });

  it("holds the truth in the hopper's interval about as often as it states", () => {
    expect(figures.hopper.coverage).toBeGreaterThan(0.7);
    expect(figures.hopper.coverage).toBeLessThan(1);
  });

  it("meets the run-out within its bounds, nearer than a straight line does", () => {
    expect(figures.runOut.scale).toBeGreaterThan(0.5);
    expect(figures.runOut["scale, better by"]).toBeGreaterThan(0.1);
  });
});
