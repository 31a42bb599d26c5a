import { describe, expect, it } from "vitest";
import { birdLines } from "../../../server/domain/digest/birds.ts";
import type { BirdDay, DayCounts } from "../../../server/domain/digest/digestFeeder.ts";
import { busy, day, digestFeederFixture, feederWithPortions, quiet, usualDays } from "./digestFeederFixture.ts";

const after = (counts: DayCounts, week: readonly BirdDay[] = usualDays().slice(1)) =>
  birdLines([digestFeederFixture(feederWithPortions("Rowan"), { days: [day(counts), ...week] })]);

describe("the birds' day in the digest", () => {
  it("is described as usual where it is", () => {
    expect(after(busy)).toEqual(["Rowan: as usual: 41 visits, 12 presses, 9 deposits, 60 portions."]);
    expect(after({ ...busy, visits: 30, portions: 50 })[0]).toMatch(/^Rowan: as usual: 30 visits, /);
  });

  it("is given as fewer than usual first, with the usual number", () => {
    expect(after({ visits: 3, presses: 1, deposits: 9, portions: 11 })).toEqual([
      "Rowan: fewer than usual: 3 visits (usually 41), 1 press (12), 11 portions (60). Others as usual.",
    ]);
  });

  it("names a count that fell to nothing", () => {
    expect(after({ ...busy, visits: 0 })[0]).toBe("Rowan: fewer than usual: no visit (usually 41). Others as usual.");
  });

  it("separates fewer and more", () => {
    expect(after({ visits: 2, presses: 90, deposits: 9, portions: 60 })[0]).toBe(
      "Rowan: fewer than usual: 2 visits (usually 41); more than usual: 90 presses (usually 12). Others as usual.",
    );
  });

  it("never mentions a sensor that the feeder hasn't", () => {
    const noPerch = { ...busy, visits: 0 };
    expect(after(noPerch, usualDays(noPerch).slice(1))[0]).toBe(
      "Rowan: as usual: 12 presses, 9 deposits, 60 portions.",
    );
  });

  it("compares nothing where the feeder had no reports or was paused yesterday", () => {
    const lines = birdLines([
      digestFeederFixture(feederWithPortions("Rowan"), {
        days: [day({ ...busy, visits: 3 }, false), ...usualDays().slice(1)],
      }),
    ]);
    expect(lines[0]).toMatch(/^Rowan: 3 visits, .* Part of yesterday is missing \(no reports or paused\)\.$/);
  });

  it("leaves incomplete days out of the week, and states when too few are left", () => {
    const silent = day(quiet, false);
    const whole = usualDays().slice(1);
    expect(after({ ...busy, visits: 3 }, [silent, silent, silent, ...whole.slice(3)])[0]).toMatch(
      /^Rowan: fewer than usual: 3 visits/,
    );
    expect(after(busy, [silent, silent, silent, silent, ...whole.slice(4)])[0]).toMatch(
      /Not enough data for a comparison\.$/,
    );
  });

  it("states that no bird came for a week", () => {
    expect(after(quiet, usualDays(quiet).slice(1))).toEqual(["Rowan: no birds yesterday, as in the past week."]);
  });
});
