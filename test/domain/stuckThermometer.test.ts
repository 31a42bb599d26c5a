import { describe, expect, it } from "vitest";
import { instantOf } from "../../server/domain/instant.ts";
import { rowanSettings } from "./rowan.ts";
import { simulateYard } from "./simulatedYard.ts";

const day = 24 * 60;

describe("a battery thermometer that stands still at -3 °C", () => {
  const house = simulateYard(
    { ...rowanSettings, battery: "lithiumIronPhosphate" },
    instantOf("2026-01-10T00:00:00Z"),
    5,
  );
  /** Trembles by its last digit, as a living one does. */
  const trembles = (around: number) => (now: number) => {
    house.truth.batteryCelsius = around + ((now / 60_000) % 5) / 10;
  };
  Object.assign(house.truth, { air: 3, inside: 4, humidity: 50 });

  it("is told, and then no charging in frost is concluded from it: the box is warm", () => {
    house.pass(5 * day, trembles(5));
    expect(house.rangFor()).toEqual([]);
    house.truth.batteryCelsius = -3;
    house.pass(12 * 60);
    expect(house.rangFor()).toEqual(["readingStuck"]);
    house.truth.charge = 400;
    house.pass(60);
    expect(house.rangFor()).toEqual(["readingStuck"]);
  });

  it("counts again as soon as it lives", () => {
    house.pass(60, trembles(-4));
    expect(house.rangFor()).toContain("chargingInFrost");
  });
});
