import { describe, expect, it } from "vitest";
import { refillSteps } from "../../../server/domain/history/refillSteps.ts";
import { instantOf } from "../../../server/domain/instant.ts";

const from = instantOf("2026-10-24T22:00:00Z");
const day = 1_440;
const refill = (at: string, grams: number | null, source = "keeper") => ({ at: instantOf(at), grams, source });

describe("the refills of a history", () => {
  it("are summed by bucket, also over a day of 25 hours", () => {
    const refills = [
      refill("2026-10-26T10:00:00Z", 300),
      refill("2026-10-25T10:00:00Z", 400),
      refill("2026-10-25T22:59:59Z", 50, "feeder"), // in the hour that this day has more
    ];
    expect(refillSteps(from, [day + 60, day], refills)).toEqual([
      { bucket: 0, grams: 450 },
      { bucket: 1, grams: 300 },
    ]);
  });

  it("have no amount where one of them has none, in either order", () => {
    const [known, unknown] = [refill("2026-10-25T10:00:00Z", 400), refill("2026-10-25T12:00:00Z", null, "detected")];
    for (const refills of [
      [known, unknown],
      [unknown, known],
    ])
      expect(refillSteps(from, [day], refills)).toEqual([{ bucket: 0, grams: null }]);
  });

  it("leave out a level that was entered, and what lies outside", () => {
    const refills = [
      refill("2026-10-25T10:00:00Z", 400, "level"),
      refill("2026-10-24T21:59:59Z", 1),
      refill("2026-10-25T22:00:00Z", 1),
    ];
    expect(refillSteps(from, [day], refills)).toEqual([]);
  });
});
