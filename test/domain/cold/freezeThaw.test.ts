import { describe, expect, it } from "vitest";
import { feltFreezeThaw, unfrozen } from "../../../server/domain/cold/freezeThaw.ts";
import { celsius } from "../../../server/domain/units.ts";

describe("freezing and thawing", () => {
  it("is counted with a deadband (check value psy-freeze-thaw-hysteresis, by hand; the convention is common practice)", () => {
    const series = [2, -0.2, 0.3, -0.2, 0.3, -2, 1.5].map(celsius);
    const cycles = (deadband: number) =>
      series.reduce((state, temperature) => feltFreezeThaw(state, temperature, deadband), unfrozen()).cycles;
    expect(cycles(0)).toBe(3);
    expect(cycles(1)).toBe(1);
  });
});
