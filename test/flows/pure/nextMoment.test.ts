import { describe, expect, it } from "vitest";
import { after, hours, instantOf, milliseconds, minutes } from "../../../server/domain/instant.ts";
import { nextMoment } from "../../../server/flows/pure/nextMoment.ts";

const noon = instantOf("2026-01-15T12:00:00Z");

describe("a feeder's next moment", () => {
  it("is now, as a rule", () => {
    expect(nextMoment(null, noon)).toBe(noon);
    expect(nextMoment(after(noon, minutes(-1)), noon)).toBe(noon);
  });

  it("is later than its last one, though two things come at once or the clock was set back a little", () => {
    expect(nextMoment(noon, noon)).toBe(noon + 1);
    expect(nextMoment(noon, after(noon, minutes(-59)))).toBe(noon + 1);
  });

  it("follows a clock that was corrected by more than an hour: an error of years must not last for years", () => {
    const back = after(noon, milliseconds(-hours(1) - 1));
    expect(nextMoment(noon, back)).toBe(back);
  });
});
