import { describe, expect, it } from "vitest";
import { after, days, hours, type Instant, instantOf, minutes, type Span } from "../../../server/domain/instant.ts";
import { initialSensors, readingFaults } from "../../../server/domain/silence/sensorFaults.ts";
import {
  type ConstantReading,
  constantTimeMax,
  initialConstantReadings,
  isStuck,
  updateConstantReadings,
  type WatchedReading,
  watchedReadings,
  withoutStuckReadings,
} from "../../../server/domain/silence/stuckReadings.ts";
import { celsius } from "../../../server/domain/units.ts";
import { emptyReadings, larchSettings } from "./larch.ts";

const start = instantOf("2026-01-15T00:00:00Z");

/** Values of the air thermometer, each so long after the one before. */
function readingAfter(
  values: readonly (readonly [Span, number])[],
  from: ConstantReading | null = null,
): ConstantReading {
  let held = { ...initialConstantReadings, air: from };
  let at: Instant = from?.lastReadAt ?? start;
  for (const [later, value] of values) {
    at = after(at, later);
    held = updateConstantReadings(held, { ...emptyReadings, air: celsius(value) }, at);
  }
  if (held.air === null) throw new Error("expected a value");
  return held.air;
}

/** A thermometer whose ways are known: 30 changes and more over four days, and it held still for an hour at most. */
const known = (more: Partial<ConstantReading> = {}): ConstantReading => ({
  ...{
    value: 4,
    lastReadAt: after(start, days(10)),
    constantFor: 0 as Span,
    longestConstant: hours(1),
    watched: { changeCount: 30, firstReadAt: start },
  },
  ...more,
});

describe("the fault of readings that are stuck", () => {
  it("names each one's value in its own unit, and for how long it has been the same", () => {
    const stuck = (value: number) => known({ value, constantFor: days(2) });
    const sensors = initialSensors(start);
    const constantReadings = { ...sensors.constantReadings, air: stuck(4), humidity: stuck(71), battery: stuck(3.9) };
    const now = after(start, days(10));
    const [fault] = readingFaults({ ...sensors, constantReadings }, larchSettings, now);
    expect(fault?.kind).toBe("readingStuck");
    expect(fault?.evidence.map(({ label, value }) => `${label}: ${value}`)).toEqual([
      ...["air thermometer, unchanged: 4 °C", "air thermometer, the same for: 2 days"],
      ...["humidity sensor, unchanged: 71 %", "humidity sensor, the same for: 2 days"],
      ...["battery's meter, unchanged: 3.9 V", "battery's meter, the same for: 2 days"],
    ]);
  });
});

describe("how long a reading stays the same", () => {
  it("adds up over reports with the same value, and begins anew with another", () => {
    expect(
      readingAfter([
        [minutes(0), 4],
        [minutes(5), 4],
        [minutes(5), 4],
      ]).constantFor,
    ).toBe(minutes(10));
    expect(
      readingAfter([
        [minutes(0), 4],
        [minutes(5), 4],
        [minutes(5), 4.1],
      ]),
    ).toMatchObject({ constantFor: 0, watched: { changeCount: 1 } });
  });

  it("counts a gap in the reports for half an hour at most", () => {
    expect(
      readingAfter([
        [minutes(0), 4],
        [minutes(29), 4],
      ]).constantFor,
    ).toBe(minutes(29));
    expect(
      readingAfter([
        [minutes(0), 4],
        [hours(8), 4],
      ]).constantFor,
    ).toBe(minutes(30));
  });

  it("is not moved by a report without that reading", () => {
    const held = { ...initialConstantReadings, air: known() };
    expect(updateConstantReadings(held, emptyReadings, after(start, days(11)))).toEqual(held);
  });

  it("is kept as the longest, up to six times what was the longest before, ten minutes at the first", () => {
    const changes = (span: Span, longest: Span) =>
      readingAfter([[minutes(0), 5]], known({ constantFor: span, longestConstant: longest })).longestConstant;
    expect(changes(hours(2), hours(1))).toBe(hours(2));
    expect(changes(hours(7), hours(1))).toBe(hours(6));
    expect(changes(hours(7), 0 as Span)).toBe(minutes(60));
    expect(changes(minutes(20), hours(1))).toBe(hours(1));
  });

  it("fades from the longest over ninety days", () => {
    expect(readingAfter([[minutes(30), 5]], known({ longestConstant: hours(9) })).longestConstant).toBe(
      Math.round(hours(9) * (1 - minutes(30) / days(90))),
    );
  });
});

describe("how long a reading may stay the same", () => {
  it("is known after thirty changes, over four days without the hold itself, and not before", () => {
    expect(constantTimeMax("air", known())).not.toBeNull();
    expect(constantTimeMax("air", known({ watched: { changeCount: 29, firstReadAt: start } }))).toBeNull();
    const afterDays = (count: number, span: Span) =>
      constantTimeMax("air", known({ lastReadAt: after(start, days(count)), constantFor: span }));
    expect(afterDays(4, 0 as Span)).not.toBeNull();
    expect(afterDays(4, hours(1))).toBeNull();
    expect(afterDays(3.99, 0 as Span)).toBeNull();
  });

  it("needs no more watching once it is known", () => {
    const everyFourHours = (changes: number) =>
      readingAfter(Array.from({ length: changes }, (_, n) => [hours(4), n] as const));
    expect(everyFourHours(25).watched).toMatchObject({ changeCount: 24 });
    expect(everyFourHours(31)).not.toHaveProperty("watched");
    expect(constantTimeMax("air", everyFourHours(31))).not.toBeNull();
    expect(everyFourHours(60)).not.toHaveProperty("watched");
  });

  it("is three times the longest ever seen", () => {
    expect(constantTimeMax("air", known({ longestConstant: hours(5) }))).toBe(hours(15));
  });

  it.each([
    ["air", 4, hours(6)],
    ["air", 0.6, days(3)],
    ["lid", -0.6, days(3)],
    ["inside", 0.7, hours(6)],
    ["batteryTemperature", -0.7, hours(6)],
    ["battery", 13.8, hours(24)],
    ["humidity", 94, hours(6)],
    ["humidity", 95, days(7)],
    ["humidity", 5, days(7)],
    ["humidity", 6, hours(6)],
    ["hopper", 0, hours(6)],
  ] as const)("is what nature may hold still at the least: %s at %d", (reading, value, least) => {
    expect(constantTimeMax(reading, known({ value, longestConstant: minutes(1) }))).toBe(least);
    const held = (span: Span) =>
      known({ value, constantFor: span, longestConstant: minutes(1), lastReadAt: after(start, days(30)) });
    expect(isStuck(reading, held(least))).toBe(false);
    expect(isStuck(reading, held((least + 1) as Span))).toBe(true);
  });
});

describe("a reading that is stuck", () => {
  it("is taken as not reported, all but the scale's, and each by its own", () => {
    const stuck = known({ value: 7, constantFor: days(9), lastReadAt: after(start, days(30)) });
    const said = Object.fromEntries(watchedReadings.map((reading) => [reading, 7]));
    const readings = { ...emptyReadings, ...said };
    const left = (reading: WatchedReading) =>
      withoutStuckReadings(readings, { ...initialConstantReadings, [reading]: stuck });
    for (const reading of watchedReadings) {
      expect(left(reading)).toEqual(reading === "hopper" ? readings : { ...readings, [reading]: null });
    }
    expect(withoutStuckReadings(readings, initialConstantReadings)).toBe(readings);
    expect(
      withoutStuckReadings(readings, { ...initialConstantReadings, air: { ...stuck, constantFor: 0 as Span } }),
    ).toBe(readings);
  });
});
