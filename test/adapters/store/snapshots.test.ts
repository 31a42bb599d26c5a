import { deflateSync } from "node:zlib";
import { describe, expect, it } from "vitest";
import { decodeState, encodeState } from "../../../server/adapters/store/snapshots.ts";
import { newFeeder } from "../../../server/domain/feeder.ts";
import { initialRollups } from "../../../server/domain/history/rollups.ts";
import { instant, instantOf } from "../../../server/domain/instant.ts";
import type { StoredState } from "../../../server/domain/stateUpgrades.ts";
import { defaultSettings } from "../../../server/flows/pure/requestedSettings.ts";

const stored = (state: unknown) => deflateSync(JSON.stringify(state));

function stateOrProblem(octets: Buffer) {
  try {
    return decodeState(octets).state;
  } catch {
    return "damaged";
  }
}

describe("a feeder's stored state", () => {
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
    expect(decodeState(stored(oldest), upgrades).state).toEqual(expected);
    const older = { ...today, version: 0, washedAt: 5 };
    expect(decodeState(stored(older), upgrades).state).toEqual({ ...today, cleanedAt: 5 });
    const { orders, ...broken } = older;
    expect(() => decodeState(stored(broken), upgrades)).toThrow("state.orders is missing");
  });

  it("is refused where no step leads from its version, so that it is not misread and overwritten", () => {
    expect(decodeState(stored(today))).toEqual({ state: today, rollups: initialRollups() });
    for (const version of [2, 0, "1", undefined]) {
      expect(() => decodeState(stored({ ...today, version }))).toThrow(
        `expected a feeder's state of version 1, got ${version}`,
      );
    }
    expect(() => decodeState(stored(null))).toThrow("version 1, got undefined");
  });

  it("is found damaged where a changed octet would give another state", () => {
    const stepped = { state: today, rollups: initialRollups() };
    const whole = encodeState(stepped);
    expect(decodeState(whole)).toEqual(stepped);
    let found = 0;
    for (let index = 0; index < whole.length; index += 1) {
      const damaged = Buffer.from(whole);
      damaged[index] = (whole[index] as number) ^ 4;
      expect(stateOrProblem(damaged), `octet ${index}`).toEqual(expect.toBeOneOf([today, "damaged"]));
      if (stateOrProblem(damaged) === "damaged") found += 1;
    }
    expect(found).toBeGreaterThanOrEqual(whole.length - 16); // the padding between its parts means nothing
  });
});
