import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { stateFrom, textOf } from "../../../server/adapters/store/rows.ts";
import { newFeeder } from "../../../server/domain/feeder.ts";
import { type Instant, instant, instantOf } from "../../../server/domain/instant.ts";
import type { StoredState } from "../../../server/domain/stateUpgrades.ts";
import { defaultSettings } from "../../../server/flows/pure/requestedSettings.ts";

describe("a time in the database", () => {
  it("is ISO 8601 text as Date writes it, with +00:00 as Prisma writes it", () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 0, max: 4e12 }), { minLength: 2 }), (times) => {
        for (const at of times) {
          expect(textOf(at as Instant)).toBe(`${new Date(at).toISOString().slice(0, -1)}+00:00`);
        }
      }),
    );
  });

  it.each([0, 1, 59_999, 60_000, 1_795_599_675_009, 1_795_599_659_999])(
    "holds at %d ms, where fields roll over",
    (at) => {
      expect(textOf(at as Instant)).toBe(`${new Date(at).toISOString().slice(0, -1)}+00:00`);
    },
  );
});

describe("a feeder's state", () => {
  const settings = defaultSettings({ practice: false, place: null, zone: "UTC" }, "Rowan");
  const today = newFeeder(settings, instant(0));

  it("of an older version is upgraded version by version, before it is checked", () => {
    // Invented: version -1 stored the time of cleaning as text, and version 0 stored it under another name.
    const upgrades = {
      [-1]: ({ cleaned, ...rest }: StoredState) => ({ ...rest, washedAt: Date.parse(cleaned as string) }),
      0: ({ washedAt, ...rest }: StoredState) => ({ ...rest, cleanedAt: washedAt }),
    };
    const oldest = { ...today, version: -1, cleaned: "2026-01-02T10:00:00Z" };
    const expected = { ...today, cleanedAt: instantOf("2026-01-02T10:00:00Z") };
    expect(stateFrom(JSON.stringify(oldest), upgrades)).toEqual(expected);
    const older = { ...today, version: 0, washedAt: 5 };
    expect(stateFrom(JSON.stringify(older), upgrades)).toEqual({ ...today, cleanedAt: 5 });
    const { orders, ...broken } = older;
    expect(() => stateFrom(JSON.stringify(broken), upgrades)).toThrow("state.orders is missing");
  });

  it("is refused where no step leads from its version, so that it is not misread and overwritten", () => {
    expect(stateFrom(JSON.stringify(today))).toEqual(today);
    for (const version of [2, 0, "1", undefined]) {
      const stored = JSON.stringify({ ...today, version });
      expect(() => stateFrom(stored)).toThrow(`expected a feeder's state of version 1, got ${version}`);
    }
    expect(() => stateFrom("null")).toThrow("version 1, got undefined");
  });
});
