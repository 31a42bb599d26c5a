import { describe, expect, it } from "vitest";
import { evidenceLayout, laneHeight } from "../../client/charts/evidenceLayout.ts";
import { hopperHistoryFixture, portionsViewFixture } from "./evidenceFixture.ts";

const now = Date.parse("2026-12-01T12:00:00Z");
const minutes = 60_000;
const span = { from: now - 360 * minutes, to: now, at: now - 17 * minutes };
const layout = (portions = portionsViewFixture(now).portions, history = hopperHistoryFixture(now) as never) =>
  evidenceLayout({ portions }, history, span, 360);

describe("the picture beside an alarm", () => {
  it("has each portion at its time, with nothing at the ground where nothing fell", () => {
    const { pieces, milliamps, momentX } = layout();
    expect([pieces.length, milliamps.length, Math.round(momentX)]).toEqual([14, 14, 343]);
    expect(pieces.filter(({ isEmpty }) => isEmpty).map(({ y }) => y)).toEqual([laneHeight, laneHeight, laneHeight]);
    expect(Math.min(...pieces.map(({ y }) => y))).toBe(0); // the most is at the top
    expect(pieces.at(-1)?.x).toBeCloseTo(momentX);
  });

  it("has no lane of what isn't measured, and a gap where nothing is known: planted", () => {
    const blind = portionsViewFixture(now).portions.map((portion) => ({ ...portion, pieces: null }));
    expect(layout(blind).most).toMatchObject({ pieces: null, milliamps: 610 });
    expect(layout(blind).pieces).toEqual([]);
    expect(layout().grams).toHaveLength(2); // a quarter without a report ends the line
    expect(evidenceLayout({ portions: [] }, null, span, 360).most).toEqual({
      pieces: null,
      milliamps: null,
      grams: null,
    });
  });
});
