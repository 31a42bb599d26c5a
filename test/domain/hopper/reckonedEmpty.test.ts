import { beforeAll, describe, expect, it } from "vitest";
import type { FeederState } from "../../../server/domain/feeder.ts";
import { findFaults } from "../../../server/domain/findFaults.ts";
import { before, hours, type Instant, instantOf } from "../../../server/domain/instant.ts";
import { rowanSettings } from "../rowan.ts";
import { simulateYard } from "../simulatedYard.ts";

const start = instantOf("2026-11-02T00:00:00Z");

describe("a hopper without a scale that should be empty by what was given of it", () => {
  let state: FeederState;
  let now: Instant;
  beforeAll(() => {
    const sensors = { ...rowanSettings.sensors, scale: false };
    const simulation = simulateYard({ ...rowanSettings, sensors }, start, 11);
    simulation.give({ kind: "refillReported", refill: { at: start, what: { kind: "filled" } } });
    simulation.pass(14 * 60);
    now = simulation.now();
    const { hopper, feed } = simulation.state();
    const lastFellAt = feed.lastPortionAt; // the newest portion fell
    state = {
      ...simulation.state(),
      hopper: { ...hopper, emptySince: before(now, hours(3)) },
      feed: { ...feed, lastFellAt },
    };
  });
  const kinds = (changed: Partial<FeederState> = {}) =>
    findFaults({ ...state, ...changed }, now)
      .map(({ kind }) => kind)
      .filter((kind) => kind === "foodOut" || kind === "foodLow");

  it("is low while each portion falls: it may have been refilled, or a portion weighs less", () => {
    expect(kinds()).toEqual(["foodLow"]);
  });

  it("is empty with the second portion in a row that doesn't fall: one is nature", () => {
    const feed = { ...state.feed, lastFellAt: before(now, hours(9)) };
    const after = (emptyPortions: number) => kinds({ feed, hopper: { ...state.hopper, emptyPortions } });
    expect([0, 1, 2].map((count) => after(count)[0])).toEqual(["foodLow", "foodLow", "foodOut"]);
  });

  it("is empty where no chute sensor shows that food falls, and where a scale or a keeper has said so", () => {
    const sensors = { ...state.settings.sensors, chute: false };
    expect(kinds({ settings: { ...state.settings, sensors } })).toEqual(["foodOut"]);
    expect(kinds({ hopper: { ...state.hopper, weighedAt: before(now, hours(3)) } })).toEqual(["foodOut"]);
    const { lastWord, emptySince } = state.hopper;
    const word = { ...(lastWord as NonNullable<typeof lastWord>), at: emptySince as Instant };
    expect(kinds({ hopper: { ...state.hopper, lastWord: word } })).toEqual(["foodOut"]);
  });

  it("is low by a scale whose reading is taken for snow, which may be food, until portions are empty", () => {
    const { hopper } = state;
    const under = (lidLoad: number, emptyPortions = 0) => {
      const estimate = { ...hopper.estimate, lidLoad };
      return kinds({ hopper: { ...hopper, estimate, emptyPortions, weighedAt: before(now, hours(3)) } })[0];
    };
    expect([under(130), under(130, 2), under(20)]).toEqual(["foodLow", "foodOut", "foodOut"]);
  });

  it("stays empty once people were told, though a piece still falls now and then", () => {
    const [fault] = findFaults({ ...state, hopper: { ...state.hopper, emptyPortions: 2 } }, now);
    const told = { foodOut: { state: "unacknowledged", raisedAt: before(now, hours(1)), finding: fault } };
    expect(kinds({ alarms: told as unknown as FeederState["alarms"] })).toEqual(["foodOut"]);
  });
});
