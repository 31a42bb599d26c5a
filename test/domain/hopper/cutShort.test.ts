import { describe, expect, it } from "vitest";
import { dispensed, levelOf, portionOf, unknownHopper } from "../../../server/domain/hopper/level.ts";
import { refilled } from "../../../server/domain/hopper/refill.ts";
import { dawn, minuteAfter, portionAt, rowan } from "./rowan.ts";

const settings = rowan({ scale: false });
const full = () => refilled(unknownHopper(settings, dawn), { at: dawn, what: { kind: "filled" } }, settings);
const cutShort = { cutShort: true, motorRan: null, chuteCount: null } as const;

describe("a portion that was cut short", () => {
  it("takes off half a portion, with a doubt from none to a whole one, and teaches nothing about portions", () => {
    const known = full();
    const cut = dispensed(known, portionAt(minuteAfter(dawn, 1), cutShort), settings);
    expect(known.belief.level - cut.belief.level).toBeCloseTo(4, 6);
    // A uniform law over one portion of 8 g has a variance of 8² / 12.
    expect(cut.belief.covariance[0] - known.belief.covariance[0]).toBeGreaterThanOrEqual(64 / 12);
    expect(portionOf(cut)).toEqual(portionOf(known));
  });
  it("is weighed away like any other once a scale or a keeper tells the level", () => {
    const cut = dispensed(full(), portionAt(minuteAfter(dawn, 1), cutShort), settings);
    const told = refilled(cut, { at: minuteAfter(dawn, 2), what: { kind: "filled" } }, settings);
    expect(levelOf(told, settings)?.grams).toBeCloseTo(levelOf(full(), settings)?.grams as number, 0);
  });
  it("that is older than the last measurement is missing from it already", () => {
    const told = refilled(full(), { at: minuteAfter(dawn, 5), what: { kind: "filled" } }, settings);
    const late = dispensed(told, portionAt(minuteAfter(dawn, 1), cutShort), settings);
    expect(late.belief).toEqual(told.belief);
  });
});
