import { describe, expect, it } from "vitest";
import { initialFreezeThaw, updateFreezeThaw } from "../../../server/domain/cold/freezeThaw.ts";
import { celsius } from "../../../server/domain/units.ts";

describe("freezing and thawing", () => {
  it("is counted with a deadband (check value psy-freeze-thaw-hysteresis, by hand; the convention is common practice)", () => {
    const series = [2, -0.2, 0.3, -0.2, 0.3, -2, 1.5].map(celsius);
    const cycles = (deadband: number) =>
      series.reduce((state, temperature) => updateFreezeThaw(state, temperature, deadband), initialFreezeThaw()).cycles;
    expect(cycles(0)).toBe(3);
    expect(cycles(1)).toBe(1);
  });

  it("freezes at the deadband below zero and thaws at the deadband above, and keeps what it was in between", () => {
    const frozenAfter = (frozen: boolean, temperature: number) =>
      updateFreezeThaw({ isFrozen: frozen, cycles: 2 }, celsius(temperature), 1);
    expect(frozenAfter(false, -0.99).isFrozen).toBe(false);
    expect(frozenAfter(false, -1)).toEqual({ isFrozen: true, cycles: 2 });
    expect(frozenAfter(true, 0.99)).toEqual({ isFrozen: true, cycles: 2 });
    expect(frozenAfter(true, 1)).toEqual({ isFrozen: false, cycles: 3 });
    expect(frozenAfter(true, -1)).toEqual({ isFrozen: true, cycles: 2 });
    expect(frozenAfter(false, 1)).toEqual({ isFrozen: false, cycles: 2 });
  });

  it("counts no thaw of what never froze at all, and none at zero itself without a deadband", () => {
    expect(updateFreezeThaw(initialFreezeThaw(), celsius(0), 0)).toEqual(initialFreezeThaw());
    expect(updateFreezeThaw({ isFrozen: true, cycles: 0 }, celsius(0), 0).isFrozen).toBe(false);
  });
});
