import { describe, expect, it } from "vitest";
import { after, days, hours, type Instant, instantOf, minutes, seconds } from "../../../server/domain/instant.ts";
import type { Counts, FeederEvent, Readings } from "../../../server/domain/report.ts";
import {
  initialChatter,
  isChattering,
  updateChatterByCount,
  updateChatterByGrowth,
} from "../../../server/domain/silence/chatter.ts";
import {
  initialSensors,
  readingFaults,
  type SensorsState,
  sensorFaults,
  updateSensorsByEvent,
  updateSensorsByReport,
} from "../../../server/domain/silence/sensorFaults.ts";
import { celsius, grams, humidityPercent, volts } from "../../../server/domain/units.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { barePortion } from "../portionFixture.ts";
import { emptyReadings, larchSettings } from "./larch.ts";
import { ordinaryHabits, runSilence } from "./silenceRun.ts";

const start = instantOf("2026-01-15T00:00:00Z");
const report = (
  sensors: SensorsState,
  readings: Partial<Readings>,
  at: Instant,
  setAside: readonly string[] = [],
): SensorsState =>
  updateSensorsByReport(
    sensors,
    { readings: { ...emptyReadings, ...readings }, rejectedReadings: setAside, boot: "b-1" },
    at,
    larchSettings,
  );
const kinds = (sensors: SensorsState, now: Instant, settings = larchSettings) =>
  readingFaults(sensors, settings, now).map(({ kind }) => kind);

describe("a sensor that chatters", () => {
  const press = (at: Instant, seq = 1): FeederEvent => ({ kind: "press", seq, recordedAt: at });
  const visit = (at: Instant, seq = 1): FeederEvent => ({ kind: "visit", seq, recordedAt: at });

  /** So many presses, one each `every` milliseconds. */
  function pressed(sensors: SensorsState, from: Instant, count: number, every: number) {
    let at = from;
    for (let i = 0; i < count; i++) {
      at = (from + i * every) as Instant;
      sensors = updateSensorsByEvent(sensors, press(at, i + 1), larchSettings);
    }
    return { sensors, at };
  }

  it.each([
    ["a bouncing contact, ten a second", 100, 20],
    ["a bent spring, one a second", 1_000, 240],
    ["damp, one each two seconds", 2_000, 700],
  ])("is found: %s", (_, every, within) => {
    const { sensors, at } = pressed(initialSensors(start), start, 1_000 * (within / every), every);
    const [fault] = readingFaults(sensors, larchSettings, at);
    expect(fault?.kind).toBe("sensorChattering");
    expect(fault?.reason).toMatch(
      /^The button counted \d+ times in \d+ (seconds|minutes), more than birds can cause\.$/,
    );
    expect(kinds(sensors, after(at, minutes(20)))).toEqual([]); // it was dried
    expect(kinds(sensors, at, { ...larchSettings, sensors: { ...larchSettings.sensors, button: false } })).toEqual([]);
  });

  it("isn't a bird that drums thirty times in ten seconds, four times a minute apart, all day long", () => {
    const morning = instantOf("2026-06-15T05:00:00Z"); // no bird drums in the dark
    let sensors = initialSensors(morning);
    for (let hour = 0; hour < 10; hour++) {
      for (let bout = 0; bout < 4; bout++) {
        const played = pressed(sensors, after(morning, minutes(60 * hour + bout)), 30, 333);
        sensors = played.sensors;
        expect(kinds(sensors, played.at)).toEqual([]);
      }
    }
  });

  it("isn't a flock of fifty that lands for an hour, one each five seconds", () => {
    let sensors = initialSensors(start);
    for (let i = 0; i < 720; i++)
      sensors = updateSensorsByEvent(sensors, visit(after(start, seconds(5 * i)), i + 1), larchSettings);
    expect(kinds(sensors, after(start, hours(1)))).toEqual([]);
  });

  it("is found by its running total alone, and not by what many birds did between two far reports", () => {
    const total = (sensors: SensorsState, button: number, at: Instant) =>
      report(sensors, { counts: { ...emptyReadings.counts, button } satisfies Counts }, at);
    let sensors = total(initialSensors(start), 0, start);
    sensors = total(sensors, 400, after(start, hours(8)));
    expect(kinds(sensors, after(start, hours(8)))).toEqual([]);
    sensors = total(sensors, 2_400, after(start, hours(8.1)));
    expect(kinds(sensors, after(start, hours(8.1)))).toEqual(["sensorChattering"]);
  });

  it("names each where several do", () => {
    let sensors = pressed(initialSensors(start), start, 300, 100).sensors;
    for (let i = 0; i < 300; i++)
      sensors = updateSensorsByEvent(sensors, visit(after(start, seconds(i / 10)), i + 1), larchSettings);
    const [fault] = readingFaults(sensors, larchSettings, after(start, seconds(30)));
    expect(fault?.reason).toContain("So does the perch sensor.");
  });

  it("teaches nothing: neither does it look alive to its companions, nor they silent beside it, nor is a habit spoilt", () => {
    const learnt = runSilence({ seed: 1, habits: ordinaryHabits, from: start, length: days(21) }).sensors;
    const from = after(start, days(21));
    const { sensors, at } = pressed(learnt, from, 3 * 3_600, 1_000);
    expect(sensorFaults(sensors, larchSettings, at, false)).toEqual([]);
    const before = learnt.button.pairings.perch;
    const now = sensors.button.pairings.perch;
    expect(now?.hits).toBeCloseTo(before?.hits ?? Number.NaN, -1);
    expect(sensors.button.silence.boutWeight).toBeLessThan((learnt.button.silence.boutWeight ?? 0) + 2);
    // Mended, it goes on as before, and is found when it dies.
    const mended = runSilence(
      { seed: 2, habits: ordinaryHabits, from: after(from, days(1)), length: days(5) },
      sensors,
    );
    expect(mended.found).toEqual([]);
    const dead = {
      seed: 3,
      habits: ordinaryHabits,
      from: after(from, days(6)),
      length: days(3),
      dead: ["press"] as const,
    };
    expect(runSilence(dead, mended.sensors).found[0]?.kind).toBe("buttonSilent");
  });

  it("takes what an old backlog tells for no haste", () => {
    let chatter = initialChatter(after(start, days(1)));
    for (let i = 0; i < 500; i++) chatter = updateChatterByCount(chatter, after(start, seconds(i)));
    expect(isChattering(chatter, after(start, days(1)))).toBe(false);
    expect(
      isChattering(
        updateChatterByGrowth(initialChatter(start), 500, hours(8), after(start, hours(8))),
        after(start, hours(8)),
      ),
    ).toBe(false);
  });
});

describe("a reading that is stuck", () => {
  /** A winter's air, each so many minutes: day and night, weather, calm nights that stand still; rounded to a sensor's steps. */
  function* winter(seed: number, length: number, step: number, sway = 3, every = 1) {
    const random = seededRandom(seed);
    let weather = 2;
    for (let minute = 0; minute < length * 1_440; minute += every) {
      weather += every * 0.001 * (2 - weather) + Math.sqrt(every) * random.normal(0, 0.02);
      const value = weather + sway * Math.sin((minute / 1_440) * 2 * Math.PI) + random.normal(0, 0.03);
      yield { at: after(start, minutes(minute)), value: Math.round(value / step) * step };
    }
  }

  it.each([
    [0.0625, 8],
    [0.1, 8],
    [0.5, 24],
  ])("is found within hours or a day by how often that very reading changes (steps of %d °C)", (step, within) => {
    let sensors = initialSensors(start);
    let at = start;
    let value = 0;
    let early = 0;
    for (const said of winter(1, 14, step)) {
      ({ at, value } = said);
      sensors = report(sensors, { lid: celsius(value), inside: celsius(value + 1) }, at);
      early += kinds(sensors, at).length;
    }
    expect(early).toBe(0);
    let found = 0;
    for (let minute = 1; minute <= within * 60 && found === 0; minute++) {
      at = after(at, minutes(1));
      sensors = report(sensors, { lid: celsius(4.25), inside: celsius(2 + (minute % 7) / 10) }, at);
      if (kinds(sensors, at).includes("readingStuck")) found = minute;
    }
    expect(found).toBeGreaterThan(120);
    const [fault] = readingFaults(sensors, larchSettings, at);
    expect(fault?.reason).toMatch(
      /^The lid thermometer has not changed for \d+ hours\. Before, it never stayed the same for longer than .+\.$/,
    );
    sensors = report(sensors, { lid: celsius(4.3), inside: celsius(2) }, after(at, minutes(1)));
    expect(kinds(sensors, at)).toEqual([]); // one new value proves that it lives
  });

  it("is none over a healthy winter, of fine and of coarse thermometers, outdoors and in a mild room", () => {
    for (const [step, sway] of [
      [0.0625, 3],
      [0.5, 3],
      [0.5, 0.2],
      [1, 0.1],
    ] as const) {
      let sensors = initialSensors(start);
      for (const { at, value } of winter(2, 90, step, sway, 5)) {
        sensors = report(sensors, { air: celsius(value) }, at);
        if (at % minutes(60) === 0) expect(kinds(sensors, at), `${step} ${sway}`).toEqual([]);
      }
    }
  }, 20_000);

  it("is none in fog, at the melting point, on a floating charger, nor where it never changed at all", () => {
    const random = seededRandom(3);
    let sensors = initialSensors(start);
    let at = start;
    const readings = (calm: boolean): Partial<Readings> => ({
      air: celsius(7),
      lid: celsius(calm ? 0 : random.normal(2, 0.1)),
      humidity: humidityPercent(calm ? 100 : random.normal(70, 1)),
      battery: volts(calm ? 13.8 : random.normal(12.6, 0.01)),
    });
    for (let i = 0; i < 10 * 144; i++) {
      at = after(start, minutes(10 * i));
      sensors = report(sensors, readings(false), at);
    }
    for (let i = 1; i <= 20 * 6; i++) {
      sensors = report(sensors, readings(true), after(at, minutes(10 * i)));
      expect(kinds(sensors, at)).toEqual([]);
    }
  });

  it("is a scale that nobody sees portions fall from only where its last digit usually moves", () => {
    const random = seededRandom(4);
    const settings = { ...larchSettings, sensors: { ...larchSettings.sensors, chute: false } };
    const given = (seq: number, recordedAt: Instant): FeederEvent => ({
      ...barePortion,
      seq,
      recordedAt,
    });
    let sensors = initialSensors(start);
    let at = start;
    for (let i = 0; i < 6 * 144; i++) {
      at = after(start, minutes(10 * i));
      sensors = report(sensors, { hopper: grams(800 + random.normal(0, 1)) }, at);
    }
    for (let i = 1; i <= 7 * 6; i++) {
      at = after(at, minutes(10));
      if (i % 4 === 0) sensors = updateSensorsByEvent(sensors, given(i, at), settings);
      sensors = report(sensors, { hopper: grams(800) }, at);
      if (i < 6 * 6) expect(sensorFaults(sensors, settings, at, false)).toEqual([]);
    }
    expect(sensorFaults(sensors, settings, at, false)[0]?.reason).toBe(
      "The scale reading did not change, although 10 portions were given.",
    );
  });
});

describe("a reading that can't be", () => {
  const minute = (count: number) => after(start, minutes(count));

  it("is found when it comes with most reports of the last ten minutes, and goes with its last", () => {
    let sensors = initialSensors(start);
    for (let i = 0; i < 8; i++) sensors = report(sensors, {}, minute(i), ["insideCelsius"]);
    const [fault] = readingFaults(sensors, larchSettings, minute(8));
    expect(fault?.kind).toBe("readingImpossible");
    expect(fault?.reason).toBe("The inside thermometer reports impossible values. They are ignored.");
    expect(fault?.evidence).toEqual([
      { label: "values of the inside thermometer ignored", value: "8 times", at: start },
    ]);
    for (let i = 8; i < 30; i++) sensors = report(sensors, {}, minute(i));
    expect(kinds(sensors, minute(30))).toEqual([]);
    expect(sensors.rejectedReadings).toEqual({});
  });

  it("is no fault where it comes now and then, as a long wire's glitch, at near and at far reports", () => {
    for (const every of [1, 15]) {
      let sensors = initialSensors(start);
      for (let i = 0; i < 500; i++) {
        sensors = report(sensors, {}, minute(every * i), i % 7 === 0 ? ["airCelsius"] : []);
        if (every === 1 || i < 7) expect(kinds(sensors, minute(every * i))).toEqual([]);
      }
    }
  });

  it("is none of a sensor: what a program counts wrongly is not the wire's", () => {
    let sensors = initialSensors(start);
    for (let i = 0; i < 20; i++) sensors = report(sensors, {}, minute(i), ["spooled", "planVersion"]);
    expect(kinds(sensors, minute(20))).toEqual([]);
  });

  it("is named once where it is the scale, whose weight is then missing", () => {
    let sensors = initialSensors(start);
    for (let i = 0; i < 20; i++) sensors = report(sensors, { air: celsius(3) }, minute(i), ["hopperGrams"]);
    expect(kinds(sensors, minute(20))).toEqual(["readingImpossible"]);
    expect(sensorFaults(sensors, larchSettings, minute(20), false)).toEqual([]);
    const unfitted = { ...larchSettings, sensors: { ...larchSettings.sensors, scale: false } };
    expect(kinds(sensors, minute(20), unfitted)).toEqual([]);
  });
});

describe("a total that ran backwards", () => {
  it("is found for a day, the chute's too, and not where the feeder started again", () => {
    const total = (sensors: SensorsState, chute: number, boot: string, at: Instant) =>
      updateSensorsByReport(
        sensors,
        { readings: { ...emptyReadings, counts: { ...emptyReadings.counts, chute } }, rejectedReadings: [], boot },
        at,
        larchSettings,
      );
    let sensors = total(initialSensors(start), 90, "b-1", start);
    const rebooted = total(sensors, 2, "b-2", after(start, minutes(1)));
    expect(kinds(rebooted, after(start, minutes(1)))).toEqual([]);
    sensors = total(sensors, 12, "b-1", after(start, minutes(1)));
    const [fault] = readingFaults(sensors, larchSettings, after(start, hours(3)));
    expect(fault?.kind).toBe("countsBackwards");
    expect(fault?.reason).toBe(
      "The running total of the chute sensor fell from 90 to 12, although the feeder did not restart.",
    );
    expect(kinds(sensors, after(start, hours(25)))).toEqual([]);
  });
});
