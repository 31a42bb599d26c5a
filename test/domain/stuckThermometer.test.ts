import { describe, expect, it } from "vitest";
import { instantOf } from "../../server/domain/instant.ts";
import { rowanSettings } from "./rowan.ts";
import { simulateYard } from "./simulatedYard.ts";

const day = 24 * 60;

describe("a battery thermometer that stands still at -3 °C", () => {
  const simulation = simulateYard(
    { ...rowanSettings, battery: "lithiumIronPhosphate" },
    instantOf("2026-01-10T00:00:00Z"),
    5,
  );
  /** Trembles by its last digit, as a living one does. */
  const trembles = (around: number) => (now: number) => {
    simulation.truth.batteryCelsius = around + ((now / 60_000) % 5) / 10;
  };
  Object.assign(simulation.truth, { air: 3, inside: 4, humidity: 50 });

  it("is found, and then no charging in frost is concluded from it: the box is warm", () => {
    simulation.pass(5 * day, trembles(5));
    expect(simulation.notifiedFaults()).toEqual([]);
    simulation.truth.batteryCelsius = -3;
    simulation.pass(12 * 60);
    expect(simulation.notifiedFaults()).toEqual(["readingStuck"]);
    simulation.truth.charge = 400;
    simulation.pass(60);
    expect(simulation.notifiedFaults()).toEqual(["readingStuck"]);
  });

  it("counts again as soon as it lives", () => {
    simulation.pass(60, trembles(-4));
    expect(simulation.notifiedFaults()).toContain("chargingInFrost");
  });
});
