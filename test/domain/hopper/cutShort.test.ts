import { describe, expect, it } from "vitest";
import {
  hopperLevel,
  initialHopper,
  learntPortion,
  updateHopperByPortion,
} from "../../../server/domain/hopper/level.ts";
import { updateHopperByRefill } from "../../../server/domain/hopper/refill.ts";
import { dawn, minuteAfter, portionAt, rowanSettings } from "./rowan.ts";

const settings = rowanSettings({ scale: false });
const full = () =>
  updateHopperByRefill(initialHopper(settings, dawn), { at: dawn, what: { kind: "filled" } }, settings);
const cutShort = { cutShort: true, motorRan: null, chuteCount: null } as const;

describe("a portion that was cut short", () => {
  it("takes off half a portion, with a doubt from none to a whole one, and teaches nothing about portions", () => {
    const known = full();
    const cut = updateHopperByPortion(known, portionAt(minuteAfter(dawn, 1), cutShort), settings);
    expect(known.estimate.level - cut.estimate.level).toBeCloseTo(4, 6);
    // A uniform law over one portion of 8 g has a variance of 8² / 12.
    expect(cut.estimate.covariance[0] - known.estimate.covariance[0]).toBeGreaterThanOrEqual(64 / 12);
    expect(learntPortion(cut)).toEqual(learntPortion(known));
  });
  it("is weighed away like any other once a scale or a keeper tells the level", () => {
    const cut = updateHopperByPortion(full(), portionAt(minuteAfter(dawn, 1), cutShort), settings);
    const refilled = updateHopperByRefill(cut, { at: minuteAfter(dawn, 2), what: { kind: "filled" } }, settings);
    expect(hopperLevel(refilled, settings)?.grams).toBeCloseTo(hopperLevel(full(), settings)?.grams as number, -1);
  });
  it("that is older than the last measurement is missing from it already", () => {
    const refilled = updateHopperByRefill(full(), { at: minuteAfter(dawn, 5), what: { kind: "filled" } }, settings);
    const late = updateHopperByPortion(refilled, portionAt(minuteAfter(dawn, 1), cutShort), settings);
    expect(late.estimate).toEqual(refilled.estimate);
  });
});
