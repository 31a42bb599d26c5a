import { describe, expect, it } from "vitest";
import { advanceFeeder } from "../../../server/domain/advanceFeeder.ts";
import { updateFeedByPress } from "../../../server/domain/feed/feed.ts";
import { initialFeed } from "../../../server/domain/feed/feedState.ts";
import { newFeeder } from "../../../server/domain/feeder.ts";
import { after, days, hours, type Instant, instantOf, minutes } from "../../../server/domain/instant.ts";
import type { FeederEvent, Report } from "../../../server/domain/report.ts";
import { initialPairing, isRunTooLong, pairContext } from "../../../server/domain/silence/pairing.ts";
import {
  doubtfulSince,
  initialSensors,
  readingFaults,
  type SensorsState,
  sensorFaults,
  updateSensorsByEvent,
} from "../../../server/domain/silence/sensorFaults.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { simulateBirds } from "./birds.ts";
import { emptyReadings, larchSettings } from "./larch.ts";
import { ordinaryHabits, runSilence } from "./silenceRun.ts";

const start = instantOf("2026-03-01T00:00:00Z");
const at = (hour: number, milliseconds = 0): Instant => (after(start, hours(hour)) + milliseconds) as Instant;
const event = (kind: "press" | "visit", recordedAt: Instant): FeederEvent => ({ kind, seq: 1, recordedAt });
const recorded = (sensors: SensorsState, events: readonly FeederEvent[], settings = larchSettings): SensorsState =>
  events.reduce((before, each) => updateSensorsByEvent(before, each, settings), sensors);

/** A burst of so many presses, one each `every` milliseconds. */
const burst = (from: Instant, count: number, every: number, kind: "press" | "visit" = "press"): FeederEvent[] =>
  Array.from({ length: count }, (_, index) => event(kind, (from + index * every) as Instant));
const kinds = (sensors: SensorsState, now: Instant) =>
  readingFaults(sensors, larchSettings, now).map(({ kind }) => kind);

describe("bursts of counts that no bird makes", () => {
  const thrice = [10, 14, 17].flatMap((hour) => burst(at(hour), 8, 60));

  it("are a chattering sensor from the third within a day, until two days after the last", () => {
    const two = recorded(initialSensors(start), thrice.slice(0, 16));
    expect(kinds(two, at(15))).toEqual([]);
    const three = recorded(two, thrice.slice(16));
    const [fault] = readingFaults(three, larchSettings, at(18));
    expect(fault).toMatchObject({
      kind: "sensorChattering",
      reason: "The button counted in 3 bursts within 7 hours that no bird makes: too quickly, or in the dark.",
      evidence: [{ label: "bursts of the button", value: "3", at: at(10, 120) }],
    });
    expect(kinds(three, at(17 + 47))).toEqual(["sensorChattering"]);
    expect(kinds(three, at(17 + 49))).toEqual([]);
  });

  it("prove less beside a landing, since it may be a bird that hammers", () => {
    const beside = [10, 14, 17].flatMap((hour) => [event("visit", at(hour, -5_000)), ...burst(at(hour), 8, 60)]);
    expect(kinds(recorded(initialSensors(start), beside), at(18))).toEqual([]);
  });

  it("are quick presses in the dark, too, however slow for a contact, where the place is known", () => {
    const nightly = [0, 1, 2, 3].flatMap((hour) => burst(at(hour), 7, 600));
    expect(kinds(recorded(initialSensors(start), nightly), at(4))).toEqual(["sensorChattering"]);
    expect(kinds(recorded(initialSensors(start), nightly, { ...larchSettings, place: null }), at(4))).toEqual([]);
    const daily = [10, 11, 12, 13].flatMap((hour) => burst(at(hour), 7, 600));
    expect(kinds(recorded(initialSensors(start), daily), at(14))).toEqual([]);
  });

  it("are neither a contact that bounces once, nor pecks three times a second, nor a clock of whole seconds, nor a flock's landings", () => {
    const patterns: ((hour: number) => FeederEvent[])[] = [
      (hour) => [0, 700, 1_400].flatMap((gap) => burst(at(hour, gap), 2, 60)),
      (hour) => burst(at(hour), 30, 333),
      (hour) => [0, 0, 0, 1_000, 1_000, 1_000].map((gap) => event("press", at(hour, gap))),
      (hour) => burst(at(hour), 6, 100, "visit"),
    ];
    for (const pattern of patterns) {
      let sensors = initialSensors(start);
      for (let hour = 8; hour < 16; hour += 0.1) {
        sensors = recorded(sensors, pattern(hour));
        expect(kinds(sensors, at(hour + 0.05))).toEqual([]);
      }
    }
  });

  it("are none in half a year of healthy birds that hammer at times", () => {
    let sensors = initialSensors(start);
    const birds = simulateBirds(
      seededRandom(7),
      larchSettings.place ?? { latitudeDegrees: 0, longitudeDegrees: 0 },
      { ...ordinaryHabits, hammers: 0.3 },
      start,
      after(start, days(180)),
    );
    for (const each of birds) {
      sensors = updateSensorsByEvent(sensors, each, larchSettings);
      expect(readingFaults(sensors, larchSettings, each.recordedAt)).toEqual([]);
    }
  });
});

describe("while a button chatters", () => {
  const learntUntil = after(start, days(21));
  const learnt = () => runSilence({ seed: 1, habits: ordinaryHabits, from: start, length: days(21) }).sensors;
  /** Birds as ever, and thirty bursts a day at any hour; `dead`: the perch is. */
  function chattering(sensors: SensorsState, length: number, dead: boolean) {
    const random = seededRandom(11);
    const place = larchSettings.place ?? { latitudeDegrees: 0, longitudeDegrees: 0 };
    const bursts = Array.from({ length: 30 * length }, () =>
      burst(after(learntUntil, days(length * random.uniform())), 2 + Math.round(10 * random.uniform()), 60),
    ).flat();
    const birds = [...simulateBirds(random, place, ordinaryHabits, learntUntil, after(learntUntil, days(length)))];
    const events = [...bursts, ...birds].sort((a, b) => a.recordedAt - b.recordedAt);
    const found = new Set<string>();
    for (const each of events) {
      if (dead && each.kind === "visit") continue;
      sensors = updateSensorsByEvent(sensors, each, larchSettings);
      for (const { kind } of sensorFaults(sensors, larchSettings, each.recordedAt, false)) found.add(kind);
    }
    return { sensors, found: [...found] };
  }

  it("no other sensor is called silent beside its presses", () => {
    const { sensors, found } = chattering(learnt(), 4, false);
    expect(kinds(sensors, after(learntUntil, days(4)))).toEqual(["sensorChattering"]);
    expect(found).toEqual([]);
  });

  it("a perch that is dead is still found beside the deposits, and a button that was mended is learnt from again", () => {
    expect(chattering(learnt(), 6, true).found).toContain("perchSilent");
    const mended = runSilence(
      { seed: 3, habits: ordinaryHabits, from: after(learntUntil, days(7)), length: days(4), dead: ["visit"] },
      chattering(learnt(), 4, false).sensors,
    );
    expect(mended.found[0]?.kind).toBe("perchSilent");
  });

  it("a burst takes back what its first press meant to the others, also where each press beside it is a bird's", () => {
    const openMarks = (count: number, every: number) =>
      recorded(initialSensors(start), burst(at(10), count, every)).perch.pairings.button?.openMarks;
    expect([openMarks(1, 60), openMarks(2, 60), openMarks(3, 60)]).toEqual([1, 1, 0]);
    // Slower than a bird can peck, but on and on: no mark beyond the third press in excess, none at all beyond the sixth.
    expect([openMarks(3, 600), openMarks(9, 600)]).toEqual([1, 0]);
  });

  it("its presses are owed no portion, and what they seemed to be owed is forgotten", () => {
    const press = { seq: 1, recordedAt: at(10) };
    const sensors = recorded(initialSensors(start), burst(at(10), 8, 60));
    expect(doubtfulSince(sensors.button, at(10, 420))).toBe(at(10));
    expect(doubtfulSince(recorded(initialSensors(start), burst(at(10), 2, 60)).button, at(10, 60))).toBeNull();
    const owed = updateFeedByPress(initialFeed(), press, at(10));
    expect(owed.payments.owed).toHaveLength(1);
    const next = { seq: 8, recordedAt: at(10, 420) };
    expect(updateFeedByPress(owed, next, at(10, 420), { doubtedFrom: at(10) }).payments.owed).toEqual([]);
    expect(updateFeedByPress(owed, next, at(10, 420), { doubtedFrom: at(10, 1) }).payments.owed).toHaveLength(1);
  });
});

describe("a detector beside the beam in its own slot", () => {
  const slot = pairContext(larchSettings, "detector", "detector");
  const beside = pairContext(larchSettings, "perch", "button");
  const learnt = (hits: number, openMarks: number) => ({
    ...initialPairing(start),
    hits,
    misses: 1,
    missSquares: 1,
    runCount: hits,
    boutCount: hits,
    openMarks,
  });
  const now = after(start, days(15));

  it("is known by eight hits where another sensor needs nineteen, and the last fall counts", () => {
    const enough = Array.from({ length: 40 }, (_, index) => index).find((open) =>
      isRunTooLong(learnt(12, open), now, slot),
    );
    expect(enough).toBeGreaterThan(3);
    expect(enough).toBeLessThan(12);
    expect([3, 4].map((open) => isRunTooLong(learnt(4_000, open), now, slot))).toEqual([false, true]); // three stones in a row
    expect(isRunTooLong(learnt(7, 40), now, slot)).toBe(false);
    expect(isRunTooLong(learnt(12, 400), now, beside)).toBe(false);
  });

  it("is found deaf within a few falls that it found no metal in", () => {
    const fall = (index: number, metal: boolean): FeederEvent => ({
      kind: "deposit",
      seq: index,
      recordedAt: after(start, minutes(360 * index)),
      metal,
      signal: null,
      chute: true,
    });
    const known = recorded(
      initialSensors(start),
      Array.from({ length: 16 }, (_, index) => fall(index, index % 8 !== 7)),
    );
    const falls = Array.from({ length: 12 }, (_, index) => fall(16 + index, false));
    const count = falls.findIndex((_, index) =>
      sensorFaults(recorded(known, falls.slice(0, index + 1)), larchSettings, at(6 * (17 + index)), false).some(
        ({ kind }) => kind === "detectorSilent",
      ),
    );
    expect(count).toBeGreaterThan(3);
  });
});

describe("a feeder whose button chatters", () => {
  it("is not said to leave deposits unpaid: the presses use up the portions that its program gives", () => {
    const feeder = (bursts: number) => {
      let state = newFeeder(larchSettings, at(8));
      const report = (minute: number, events: FeederEvent[]) =>
        ({
          boot: "b-1",
          sentUptime: minutes(minute),
          readings: emptyReadings,
          rejectedReadings: [],
          events,
          wrongEvents: [],
          refusedEvents: [],
        }) as unknown as Report;
      for (let minute = 0; minute < 24 * 60; minute += 10) {
        const now = after(at(8), minutes(minute));
        const chatter = minute % 40 === 20 && minute / 40 < bursts ? burst(now, 8, 60) : [];
        const deposit: FeederEvent[] =
          minute % 30 === 0 && minute >= 240 && minute < 240 + 30 * 6
            ? [{ kind: "deposit", seq: 900 + minute, recordedAt: now, metal: true, signal: null, chute: null }]
            : [];
        state = advanceFeeder(state, { kind: "reported", report: report(minute, [...chatter, ...deposit]) }, now).state;
      }
      const { depositUnpaid, paymentUnclear, sensorChattering } = state.alarms; // unclear: its record is short
      return [(depositUnpaid ?? paymentUnclear) !== undefined, sensorChattering !== undefined];
    };
    expect(feeder(0)).toEqual([true, false]);
    expect(feeder(5)).toEqual([false, true]);
  });
});
