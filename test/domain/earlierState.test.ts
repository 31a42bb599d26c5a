import { readFileSync } from "node:fs";
import { join } from "node:path";
import { isDeepStrictEqual } from "node:util";
import { describe, expect, it } from "vitest";
import { advanceFeeder } from "../../server/domain/advanceFeeder.ts";
import { coldFaults, felt, noCold } from "../../server/domain/cold/cold.ts";
import {
  type StateV1,
  type StateV2,
  type StateV3,
  type StateV4,
  stateFromV1,
  stateFromV2,
  stateFromV3,
  stateFromV4,
} from "../../server/domain/earlierState.ts";
import { newFeeder } from "../../server/domain/feeder.ts";
import { levelOf } from "../../server/domain/hopper/level.ts";
import { after, minutes } from "../../server/domain/instant.ts";
import { celsius } from "../../server/domain/units.ts";
import { saidNothing } from "./silence/larch.ts";

/**
 * Rowan after nine days with a jam that stands, as version 1 wrote it (stateV1.json: written by that very version, over the
 * invented yard of this folder).
 */
const old = JSON.parse(readFileSync(join(import.meta.dirname, "stateV1.json"), "utf8")) as StateV1;
const upgraded = stateFromV1(old);

/** Every key that a new feeder has, all the way down, as far as both have values there. */
const missingKeys = (fresh: unknown, found: unknown, path = ""): string[] => {
  if (typeof fresh !== "object" || fresh === null || Array.isArray(fresh)) return [];
  if (typeof found !== "object" || found === null) return [];
  return Object.entries(fresh).flatMap(([key, value]) =>
    Object.hasOwn(found, key)
      ? missingKeys(value, (found as Record<string, unknown>)[key], `${path}.${key}`)
      : [`${path}.${key}`],
  );
};

/** The same after a minute more, as version 2 wrote it. */
const later = JSON.parse(readFileSync(join(import.meta.dirname, "stateV2.json"), "utf8")) as StateV2;

/**
 * A Rowan with lithium, as version 3 wrote it after a frosty morning: a jam that stands, a deposit that it explains, charging in
 * frost that Ada has seen, food low on her shelf, and words of the feeder's own that came and went.
 */
const before = JSON.parse(readFileSync(join(import.meta.dirname, "stateV3.json"), "utf8")) as StateV3;

/** The same Rowan as version 4 wrote it: two minutes later, with a pause that Ada asked for and the feeder confirmed. */
const paused = JSON.parse(readFileSync(join(import.meta.dirname, "stateV4.json"), "utf8")) as StateV4;

describe("a state of version 4", () => {
  const brought = stateFromV4(paused);

  it("has every part of a state of today, keeps what it knew, and holds to JSON", () => {
    const { version: _then, ...known } = paused;
    expect(brought).toMatchObject({ ...known, version: 5 });
    expect(
      missingKeys(newFeeder(paused.settings, 0 as never), brought).filter((path) => !path.startsWith(".link")),
    ).toEqual([]);
    expect(isDeepStrictEqual(JSON.parse(JSON.stringify(brought)), brought)).toBe(true);
  });

  it("still knows that the pause was confirmed, and goes on", () => {
    const now = after(paused.latest?.at ?? (0 as never), minutes(1));
    const { state, effects } = advanceFeeder({ id: "rowan" }, brought, { kind: "minutePassed" }, now);
    expect(state.orders.newest).toMatchObject({ kind: "pause", phase: "confirmed" });
    expect(effects.filter(({ kind }) => kind === "call")).toEqual([]);
  });
});

describe("a state of version 3", () => {
  const brought = stateFromV3(before);

  it("keeps all that it knew, and holds to JSON", () => {
    const { version: _then, alarms, ...known } = before;
    expect(brought).toMatchObject({ ...known, version: 5 });
    expect(isDeepStrictEqual(JSON.parse(JSON.stringify(brought)), brought)).toBe(true);
    expect(Object.keys(brought.alarms)).toEqual(Object.keys(alarms));
    expect(brought.alarms).toMatchObject(alarms);
  });

  it("knows of each alarm as what it was told, and whether its fault was there", () => {
    expect(brought.alarms).toMatchObject({
      trayJammed: { phase: "unacknowledged", called: "urgent", present: true },
      depositUnpaid: { phase: "suppressedByDesign", raised: null, present: true, explainedBy: null },
      chargingInFrost: { phase: "acknowledged", acknowledgedBy: "Ada", called: "urgent", present: true },
      foodLow: { phase: "shelved", present: false, latch: null },
      troubleReported: { phase: "returnedUnacknowledged", present: false },
    });
  });

  it("goes on: what hides an alarm is named again, nobody is told anything twice, and the battery is latched", () => {
    const now = after(before.latest?.at ?? (0 as never), minutes(1));
    const { state, effects } = advanceFeeder({ id: "rowan" }, brought, { kind: "minutePassed" }, now);
    expect(effects.filter(({ kind }) => kind === "call")).toEqual([]);
    expect(state.alarms.depositUnpaid).toMatchObject({ explainedBy: "trayJammed" });
    const warm = { ...state, cold: { ...state.cold, charging: noCold().charging } };
    const gone = advanceFeeder({ id: "rowan" }, warm, { kind: "minutePassed" }, after(now, minutes(1))).state;
    const heardAgain = { ...gone, link: { ...gone.link, at: after(now, minutes(32)) } } as typeof gone;
    const last = advanceFeeder({ id: "rowan" }, heardAgain, { kind: "minutePassed" }, after(now, minutes(32))).state;
    expect(last.alarms.chargingInFrost).toMatchObject({ phase: "latchedAcknowledged", acknowledgedBy: "Ada" });
  });
});

describe("a state of version 2", () => {
  it("has every part of a state of today, keeps what it knew, and goes on", () => {
    const { version: _then, ...known } = later;
    const brought = stateFromV2(later);
    expect(brought).toMatchObject(known);
    expect(
      missingKeys(newFeeder(later.settings, 0 as never), brought).filter((path) => !path.startsWith(".link")),
    ).toEqual([]);
    const now = after(later.latest?.at ?? (0 as never), minutes(2));
    const { state } = advanceFeeder({ id: "rowan" }, brought, { kind: "minutePassed" }, now);
    expect(state).toMatchObject({ version: 5, foresight: { at: now, low: null } });
  });
});

describe("a state of version 1", () => {
  it("has every part of a state of today, and holds to JSON", () => {
    const fresh = newFeeder(old.settings, upgraded.latest?.at ?? (0 as never));
    expect(missingKeys(fresh, upgraded).filter((path) => !path.startsWith(".link"))).toEqual([]);
    expect(upgraded.link).toHaveProperty("longest.newer", []); // a new feeder's line was never heard
    expect(isDeepStrictEqual(JSON.parse(JSON.stringify(upgraded)), upgraded)).toBe(true);
  });

  it("keeps what was learnt over weeks", () => {
    const level = levelOf(upgraded.hopper, upgraded.settings);
    expect(level?.grams).toBeCloseTo(old.hopper.belief.level, 6);
    expect(upgraded.hopper.belief.portion).toBe(old.hopper.belief.portion);
    expect(upgraded.link).toMatchObject({ rhythm: (old.link as { rhythm: unknown }).rhythm });
    expect(upgraded.sensors.button.beside.perch).toMatchObject(old.sensors.button.beside.perch ?? {});
    expect(upgraded.sensors.button.beside.perch?.bouts).toBeGreaterThan(10);
    expect(upgraded.orders).toMatchObject(old.orders);
    expect(upgraded.orders.start?.boot).toBe(old.clock.boots.at(-1)?.boot); // a start after the upgrade is seen as one
    expect(upgraded.sequence).toEqual(old.sequence);
  });

  it("still knows of a lid that was wet: this night's ice isn't missed", () => {
    const at = upgraded.latest?.at ?? (0 as never);
    const { frost } = old.cold;
    let { cold } = stateFromV1({ ...old, cold: { ...old.cold, frost: { ...frost, wetAt: at } } });
    const freezing = { ...saidNothing, inside: celsius(-3) };
    cold = felt(cold, freezing, after(at, minutes(10)), upgraded.settings);
    expect(coldFaults(cold, upgraded.settings, after(at, minutes(10))).map(({ kind }) => kind)).toEqual(["iceLock"]);
  });

  it("tells no all-clear for a jam that stood, since nobody has looked at it anew", () => {
    expect(old.alarms.trayJammed?.phase).toBe("unacknowledged");
    const now = after(upgraded.latest?.at ?? (0 as never), minutes(1));
    const { state, effects } = advanceFeeder({ id: "rowan" }, upgraded, { kind: "minutePassed" }, now);
    expect(effects.filter(({ kind }) => kind === "call")).toEqual([]);
    expect(state.alarms.trayJammed).toBeUndefined();
  });
});
