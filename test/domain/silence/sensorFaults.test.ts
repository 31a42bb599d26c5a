import { describe, expect, it } from "vitest";
import * as time from "../../../server/domain/instant.ts";
import { days, hours, type Instant, instant, instantOf, minutes, seconds } from "../../../server/domain/instant.ts";
import type { Counts, FeederEvent, PortionCause, Readings } from "../../../server/domain/report.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import {
  initialSensors,
  type SensorsState,
  sensorFaults,
  updateSensorsByReport as sensorsCounted,
  updateSensorsByEvent,
} from "../../../server/domain/silence/sensorFaults.ts";
import { celsius, grams } from "../../../server/domain/units.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { barePortion } from "../portionFixture.ts";
import { type BirdHabits, simulateBirds } from "./birds.ts";
import { emptyReadings, larchSettings } from "./larch.ts";
import { ordinaryHabits, runSilence } from "./silenceRun.ts";

const start = instantOf("2026-03-01T00:00:00Z");
const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
const updateSensorsByReport = (
  sensors: SensorsState,
  readings: Readings,
  boot: string,
  at: Instant,
  settings: FeederSettings,
) => sensorsCounted(sensors, { readings, boot, rejectedReadings: [] }, at, settings);

const fitted = (...sensors: (keyof FeederSettings["sensors"])[]): FeederSettings => ({
  ...larchSettings,
  sensors: {
    button: sensors.includes("button"),
    detector: sensors.includes("detector"),
    perch: sensors.includes("perch"),
    chute: sensors.includes("chute"),
    scale: sensors.includes("scale"),
  },
});

describe("a sensor among others", () => {
  it("is found within a day of its death, each of them", () => {
    const learnt = runSilence({ seed: 1, habits: ordinaryHabits, from: start, length: days(21) });
    for (const [dead, kind] of [
      ["press", "buttonSilent"],
      ["deposit", "detectorSilent"],
      ["visit", "perchSilent"],
    ] as const) {
      const broken = {
        seed: 2,
        habits: ordinaryHabits,
        from: time.after(start, days(21)),
        length: days(3),
        dead: [dead],
      };
      const { found } = runSilence(broken, learnt.sensors);
      expect(found[0]?.kind, dead).toBe(kind);
      expect(found[0]?.landings, dead).toBeLessThan(150); // a day has about 60, and a bird in seven brings something
    }
  });

  it("gives its evidence in plain text", () => {
    const learnt = runSilence({ seed: 1, habits: ordinaryHabits, from: start, length: days(21) });
    const from = time.after(start, days(21));
    const { sensors } = runSilence(
      { seed: 2, habits: ordinaryHabits, from, length: days(3), dead: ["press"] },
      learnt.sensors,
    );
    const [fault] = sensorFaults(sensors, larchSettings, time.after(from, days(3)), false);
    expect(fault?.reason).toMatch(
      /^The button did not react in the last \d+ (landings|deposits) \(in 3 days\)\. Usually it reacts in (about \d of 10|nearly all of them)\.$/,
    );
    expect(fault?.evidence.map((piece) => piece.label)).toContain("last signal");
    expect(fault?.confidence).toBeGreaterThan(0.999);
  });

  it("is not cried silent over healthy years, storms, flocks that never press and all", () => {
    let found = 0;
    for (let seed = 1; seed <= 2; seed++) {
      found += runSilence({ seed, habits: ordinaryHabits, from: start, length: days(365) }).found.length;
    }
    expect(found, "two feeder-years").toBeLessThanOrEqual(5); // P(more | 2 wanted) = 2 %
  }, 60_000);

  it("learns what flocks do and then keeps quiet, where they come in dozens that never press", () => {
    const flocks = { ...ordinaryHabits, visitsInBout: 40, visitEvery: seconds(20), learners: 0.4 };
    const first = runSilence({ seed: 5, habits: flocks, from: start, length: days(14) });
    const then = runSilence(
      { seed: 6, habits: flocks, from: time.after(start, days(14)), length: days(60) },
      first.sensors,
    );
    expect(first.found).toEqual([]);
    expect(then.found.length).toBeLessThanOrEqual(1);
  }, 60_000);

  it("keeps quiet in its first days, when one flock pressed all morning and the next one never does", () => {
    const flocks = { ...ordinaryHabits, visitsInBout: 40, visitEvery: seconds(20), learners: 0.4 };
    let found = 0;
    for (let seed = 1; seed <= 15; seed++) {
      found += runSilence({ seed, habits: flocks, from: start, length: days(4) }).found.length;
    }
    expect(found, "in the first four days of fifteen feeders").toBeLessThanOrEqual(1);
  }, 60_000);

  it("is found as soon as can be where birds are independent and the yard is known: within 1.25 of the exact run", () => {
    const single: BirdHabits = {
      ...ordinaryHabits,
      boutEvery: minutes(10),
      visitsInBout: 1,
      learners: 1,
      deposits: 0,
      hammers: 0,
    };
    for (const presses of [0.2, 0.4, 0.7]) {
      let ratio = 0;
      for (let seed = 1; seed <= 4; seed++) {
        const habits = { ...single, presses };
        const settings = fitted("button", "perch");
        const learnt = runSilence({ seed, habits, from: start, length: days(30), settings });
        const from = time.after(start, days(30));
        const broken = { seed: seed + 50, habits, from, length: days(20), dead: ["press"] as const, settings };
        const { runCount, since } = learnt.sensors.button.pairings.perch ?? {
          runCount: Number.NaN,
          since: start,
        };
        // The run of misses that a button in order shows once in six feeder-years, as chance would have it.
        const exact = Math.log((6 * runCount * days(365)) / (from - since)) / -Math.log(1 - presses);
        ratio += (runSilence(broken, learnt.sensors).found[0]?.landings ?? Number.POSITIVE_INFINITY) / exact;
      }
      expect(ratio / 4, `pressed on ${presses}`).toBeLessThan(1.25);
    }
  }, 30_000);

  it("is not silent on a day on which no bird comes at all", () => {
    const learnt = runSilence({ seed: 3, habits: ordinaryHabits, from: start, length: days(21) });
    expect(sensorFaults(learnt.sensors, larchSettings, time.after(start, days(26)), false)).toEqual([]);
  });

  it("is not judged on its first day, from too few presses", () => {
    const habits = { ...ordinaryHabits, boutEvery: hours(3) };
    const early = runSilence({ seed: 4, habits, from: start, length: days(2) });
    const broken = { seed: 5, habits, from: time.after(start, days(2)), length: days(1), dead: ["press"] as const };
    expect(runSilence(broken, early.sensors).found).toEqual([]);
  });

  it("is not judged while the feeder is paused, and what birds do meanwhile is no measure later", () => {
    const { sensors } = runSilence({ seed: 1, habits: ordinaryHabits, from: start, length: days(21) });
    const from = time.after(start, days(21));
    const pausedNow = updateSensorsByReport(sensors, { ...emptyReadings, paused: true }, "b-1", from, larchSettings);
    const broken = { seed: 2, habits: ordinaryHabits, from, length: days(3), dead: ["press", "deposit"] as const };
    const through = runSilence(broken, pausedNow);
    expect(through.found).toEqual([]);
    const resumed = updateSensorsByReport(
      through.sensors,
      { ...emptyReadings, paused: false },
      "b-1",
      time.after(from, days(3)),
      larchSettings,
    );
    expect(sensorFaults(resumed, larchSettings, time.after(from, days(3)), false)).toEqual([]);

    const dead = runSilence(broken, sensors).sensors;
    expect(sensorFaults(dead, larchSettings, time.after(from, days(3)), false)).not.toEqual([]);
    expect(sensorFaults(dead, larchSettings, time.after(from, days(3)), true)).toEqual([]);
  });

  it("is no fault where it isn't fitted", () => {
    const learnt = runSilence({ seed: 1, habits: ordinaryHabits, from: start, length: days(21) });
    const from = time.after(start, days(21));
    const { sensors } = runSilence(
      { seed: 2, habits: ordinaryHabits, from, length: days(3), dead: ["press"] },
      learnt.sensors,
    );
    expect(sensorFaults(sensors, fitted("perch", "detector"), time.after(from, days(3)), false)).toEqual([]);
  });

  it("is soon found again after it was dead for days and was mended: the outage is not taken for a habit", () => {
    const learnt = runSilence({ seed: 1, habits: ordinaryHabits, from: start, length: days(21) });
    const at = (day: number) => time.after(start, days(day));
    const dead = runSilence(
      { seed: 2, habits: ordinaryHabits, from: at(21), length: days(7), dead: ["press"] },
      learnt.sensors,
    );
    const mended = runSilence({ seed: 3, habits: ordinaryHabits, from: at(28), length: days(7) }, dead.sensors);
    expect(sensorFaults(mended.sensors, larchSettings, at(35), false)).toEqual([]);
    const again = runSilence(
      { seed: 4, habits: ordinaryHabits, from: at(35), length: days(7), dead: ["press"] },
      mended.sensors,
    );
    expect(again.found[0]?.kind).toBe("buttonSilent");
    expect(again.found[0]?.landings).toBeLessThan(200);
  });
});

describe("a portion that pays a press", () => {
  const paid = (cause: PortionCause, paysFor: number | null, minute: number): FeederEvent => ({
    ...barePortion,
    cause,
    paysFor,
    seq: minute + 1,
    recordedAt: time.after(start, minutes(minute)),
  });

  it("shows the press where nothing else did, and nothing where the press was reported, or none was paid", () => {
    const unsaid = updateSensorsByEvent(initialSensors(start), paid("press", null, 1), larchSettings);
    expect(unsaid.button.lastCountAt).toBe(time.after(start, minutes(1)));
    expect(unsaid.perch.pairings.button?.openMarks).toBe(1);
    expect(
      updateSensorsByEvent(initialSensors(start), paid("deposit", null, 1), larchSettings).detector.lastCountAt,
    ).not.toBeNull();
    const pressed = updateSensorsByEvent(
      initialSensors(start),
      { kind: "press", seq: 1, recordedAt: start },
      larchSettings,
    );
    expect(updateSensorsByEvent(pressed, paid("press", null, 1), larchSettings).button.lastCountAt).toBe(start);
    expect(updateSensorsByEvent(pressed, paid("press", 1, 9), larchSettings).button.lastCountAt).toBe(start);
    expect(updateSensorsByEvent(pressed, paid("timer", null, 9), larchSettings).button).toBe(pressed.button);
  });
});

describe("a detector with a beam in its slot", () => {
  const drop = (seq: number, metal: boolean): FeederEvent => ({
    kind: "deposit",
    metal,
    signal: metal ? 0.8 : 0.05,
    chute: true,
    seq,
    recordedAt: time.after(start, hours(seq)),
  });

  it("is silent when caps fall through the beam and none is metal any more", () => {
    let sensors = initialSensors(start);
    for (let i = 1; i <= 60; i++) sensors = updateSensorsByEvent(sensors, drop(i, i % 10 !== 0), larchSettings); // one in ten is paper
    expect(sensorFaults(sensors, larchSettings, time.after(start, hours(60)), false)).toEqual([]);
    for (let i = 61; i <= 75; i++) sensors = updateSensorsByEvent(sensors, drop(i, false), larchSettings);
    const [fault] = sensorFaults(sensors, larchSettings, time.after(start, hours(75)), false);
    expect(fault?.kind).toBe("detectorSilent");
    expect(fault?.reason).toContain("in the last 16 things that fell into its slot");
  });
});

describe("a fast feeder, such as one for practice", () => {
  /** A visit every twenty seconds, nine in ten of which bring a press. */
  const fast: BirdHabits = {
    boutEvery: seconds(20),
    visitsInBout: 1,
    visitEvery: seconds(1),
    learners: 1,
    presses: 0.9,
    deposits: 0.2,
    hammers: 0,
    stormyDays: 0,
  };
  const morning = instantOf("2026-03-02T09:00:00Z");
  const practice = { ...larchSettings, practice: true };

  it("shows a dead button within a dozen landings, once it has learnt from 30 presses", () => {
    for (let seed = 1; seed <= 10; seed++) {
      let presses = 0;
      let sensors = initialSensors(morning);
      let from = morning;
      for (const event of simulateBirds(seededRandom(seed), place, fast, morning, time.after(morning, hours(2)))) {
        if (event.kind === "press" && ++presses > 40) break;
        sensors = updateSensorsByEvent(sensors, event, practice);
        from = event.recordedAt;
      }
      const { found } = runSilence(
        { seed: seed + 50, habits: fast, from, length: hours(1), dead: ["press"], settings: practice },
        sensors,
      );
      expect(found[0]?.kind, `seed ${seed}`).toBe("buttonSilent");
      expect(found[0]?.landings, `seed ${seed}`).toBeLessThanOrEqual(16); // of which a fifth fall together with others
    }
  });

  it("shows it as soon after a day's backlog at an ordinary pace, fifty times slower", () => {
    const backlog = runSilence({
      seed: 1,
      habits: { ...ordinaryHabits, presses: 0.9, learners: 1, stormyDays: 0 },
      from: time.before(morning, days(1)),
      length: days(1),
      settings: practice,
    });
    const lively = runSilence(
      { seed: 2, habits: fast, from: morning, length: minutes(5), settings: practice },
      backlog.sensors,
    );
    const from = time.after(morning, minutes(5));
    const { found } = runSilence(
      { seed: 3, habits: fast, from, length: hours(1), dead: ["press"], settings: practice },
      lively.sensors,
    );
    expect(lively.found).toEqual([]);
    expect(found[0]?.kind).toBe("buttonSilent");
    expect(found[0]?.landings).toBeLessThanOrEqual(16);
  });

  it("cries nothing over a whole day in which nothing is wrong", () => {
    expect(runSilence({ seed: 9, habits: fast, from: morning, length: days(1), settings: practice }).found).toEqual([]);
  });
});

describe("a sensor that stands alone", () => {
  const buttonOnly = fitted("button");
  const presses: BirdHabits = { ...ordinaryHabits, boutEvery: minutes(45), learners: 0.9, stormyDays: 0.05 };
  const unseen = ["visit", "deposit"] as const; // not fitted

  it("is silent once two days and far more daylight than ever passed without it", () => {
    const learnt = runSilence({
      seed: 1,
      habits: presses,
      from: start,
      length: days(30),
      dead: unseen,
      settings: buttonOnly,
    });
    expect(learnt.found).toEqual([]);
    const lastPressAt = learnt.sensors.button.lastCountAt ?? start;
    expect(sensorFaults(learnt.sensors, buttonOnly, time.after(lastPressAt, hours(47)), false)).toEqual([]); // a stormy day
    const [fault] = sensorFaults(learnt.sensors, buttonOnly, time.after(lastPressAt, days(8)), false);
    expect(fault?.kind).toBe("buttonSilent");
    expect(fault?.reason).toContain("No other sensor shows whether birds came.");
  });

  it("is not cried silent over healthy years with a stormy day in twenty", () => {
    let found = 0;
    for (let seed = 1; seed <= 4; seed++) {
      found += runSilence({ seed, habits: presses, from: start, length: days(365), dead: unseen, settings: buttonOnly })
        .found.length;
    }
    expect(found).toBeLessThanOrEqual(4);
  }, 60_000);

  it("may be away again for as long as it was once", () => {
    let sensors = initialSensors(start);
    let seq = 0;
    const busy = (from: number, to: number) => {
      for (let day = from; day < to; day++) {
        for (let hour = 7; hour < 16; hour += 0.5) {
          const recordedAt = time.after(start, hours(24 * day + hour));
          sensors = updateSensorsByEvent(sensors, { kind: "press", seq: ++seq, recordedAt }, buttonOnly);
        }
      }
    };
    const faultsOn = (day: number) => sensorFaults(sensors, buttonOnly, time.after(start, days(day)), false).length;
    busy(0, 20);
    expect(faultsOn(25)).toBe(1); // five days without a press
    busy(25, 45);
    expect(faultsOn(50)).toBe(0); // again: the flock has its ways
    expect(faultsOn(58)).toBe(1);
  });

  it("may rest through a polar night", () => {
    const north = { ...buttonOnly, place: { latitudeDegrees: 78, longitudeDegrees: 16 } };
    let sensors = initialSensors(instantOf("2026-09-01T00:00:00Z"));
    for (let bout = 0; bout < 200; bout++) {
      const recordedAt = time.after(instantOf("2026-09-01T06:00:00Z"), hours(bout * 6));
      sensors = updateSensorsByEvent(sensors, { kind: "press", seq: bout + 1, recordedAt }, north);
    }
    // The last press was on 20 October; civil twilight ends there in the middle of November.
    const darkFrom = instantOf("2026-11-16T00:00:00Z");
    sensors = updateSensorsByEvent(sensors, { kind: "press", seq: 500, recordedAt: darkFrom }, north);
    expect(sensorFaults(sensors, north, instantOf("2027-01-20T00:00:00Z"), false)).toEqual([]);
    expect(sensorFaults(sensors, { ...north, place: null }, instantOf("2027-01-20T00:00:00Z"), false)).not.toEqual([]);
  });
});

describe("running totals", () => {
  const counts = (some: Partial<Counts>): Readings => ({
    ...emptyReadings,
    counts: { ...emptyReadings.counts, ...some },
  });
  const press = (seq: number, recordedAt: Instant): FeederEvent => ({ kind: "press", seq, recordedAt });
  const visit = (seq: number, recordedAt: Instant): FeederEvent => ({ kind: "visit", seq, recordedAt });

  /** A button that answered forty landings and then fell silent for thirty. */
  function silentButton(): { sensors: SensorsState; now: Instant } {
    let sensors = initialSensors(start);
    let now = start;
    for (let i = 0; i < 70; i++) {
      now = time.after(now, hours(1));
      sensors = updateSensorsByEvent(sensors, visit(2 * i + 1, now), larchSettings);
      if (i < 40) sensors = updateSensorsByEvent(sensors, press(2 * i + 2, time.after(now, seconds(3))), larchSettings);
      sensors = updateSensorsByReport(
        sensors,
        counts({ button: Math.min(40, i + 1), perch: i + 1 }),
        "b-1",
        time.after(now, minutes(1)),
        larchSettings,
      );
    }
    return { sensors, now };
  }

  it("that stand still prove nothing, and those that grow without an event prove that the sensor lives", () => {
    const { sensors, now } = silentButton();
    expect(sensorFaults(sensors, larchSettings, now, false).map((fault) => fault.kind)).toEqual(["buttonSilent"]);
    const grown = updateSensorsByReport(sensors, counts({ button: 41 }), "b-1", now, larchSettings);
    expect(sensorFaults(grown, larchSettings, now, false)).toEqual([]);
  });

  it("that only repeat what the events reported change nothing else", () => {
    const before = updateSensorsByEvent(
      updateSensorsByReport(initialSensors(start), counts({ button: 10 }), "b-1", start, larchSettings),
      press(1, start),
      larchSettings,
    );
    const later = updateSensorsByReport(
      before,
      counts({ button: 11 }),
      "b-1",
      time.after(start, minutes(1)),
      larchSettings,
    );
    expect(later.button.lastCountAt).toBe(start);
  });

  it("that start from nothing in a new boot are no activity", () => {
    const { sensors, now } = silentButton();
    const rebooted = updateSensorsByReport(sensors, counts({ button: 3 }), "b-2", now, larchSettings);
    expect(sensorFaults(rebooted, larchSettings, now, false).map((fault) => fault.kind)).toEqual(["buttonSilent"]);
  });

  it("that run backwards within one boot are noted, and shown with the fault", () => {
    const { sensors, now } = silentButton();
    const odd = updateSensorsByReport(sensors, counts({ button: 7 }), "b-1", now, larchSettings);
    expect(odd.button.decrease).toEqual({ from: 40, to: 7, at: now });
    const [fault] = sensorFaults(odd, larchSettings, now, false);
    expect(fault?.evidence).toContainEqual({ label: "its counter went backwards", value: "40 to 7", at: now });
  });

  it("are enough for a feeder that sends no events", () => {
    const practice = { ...larchSettings, practice: true };
    let sensors = initialSensors(start);
    let now = start;
    let landings = 0;
    const report = (presses: number) => {
      now = time.after(now, minutes(1));
      sensors = updateSensorsByReport(sensors, counts({ perch: ++landings, button: presses }), "b-1", now, practice);
    };
    for (let i = 1; i <= 60; i++) report(i);
    expect(sensorFaults(sensors, practice, now, false)).toEqual([]);
    for (let i = 0; i < 30; i++) report(60);
    expect(sensorFaults(sensors, practice, now, false).map((fault) => fault.kind)).toEqual(["buttonSilent"]);
  });
});

describe("a scale", () => {
  const withScale = fitted("scale", "chute");
  const reading = (hopper: number | null): Readings => ({
    ...emptyReadings,
    inside: celsius(4),
    hopper: hopper === null ? null : grams(hopper),
  });
  const portion = (seq: number, chuteCount: number | null): FeederEvent => ({
    ...barePortion,
    chuteCount,
    seq,
    recordedAt: start,
  });
  const kinds = (sensors: SensorsState, settings = withScale) =>
    sensorFaults(sensors, settings, start, false).map((fault) => fault.kind);

  it("is silent after ten reports without a weight, and speaks again with the first", () => {
    let sensors = updateSensorsByReport(initialSensors(start), reading(800), "b-1", start, withScale);
    for (let i = 0; i < 9; i++) sensors = updateSensorsByReport(sensors, reading(null), "b-1", start, withScale);
    expect(kinds(sensors)).toEqual([]);
    sensors = updateSensorsByReport(sensors, reading(null), "b-1", start, withScale);
    expect(kinds(sensors)).toEqual(["scaleSilent"]);
    expect(kinds(sensors, fitted("chute"))).toEqual([]);
    expect(kinds(updateSensorsByReport(sensors, reading(799.6), "b-1", start, withScale))).toEqual([]);
  });

  it("is silent where it is fitted but never reported a weight", () => {
    let sensors = initialSensors(start);
    for (let i = 0; i < 10; i++) sensors = updateSensorsByReport(sensors, reading(null), "b-1", start, withScale);
    expect(sensorFaults(sensors, withScale, start, false)[0]?.reason).toBe(
      "A scale is fitted, but no report ever had a weight in it.",
    );
  });

  it("is not missed in reports that carry no readings at all", () => {
    let sensors = updateSensorsByReport(initialSensors(start), reading(800), "b-1", start, withScale);
    for (let i = 0; i < 50; i++) sensors = updateSensorsByReport(sensors, emptyReadings, "b-1", start, withScale);
    expect(kinds(sensors)).toEqual([]);
  });

  it("is silent when it stays the same to the last digit while portions are seen to fall", () => {
    let sensors = updateSensorsByReport(initialSensors(start), reading(800.2), "b-1", start, withScale);
    for (let i = 1; i <= 16; i++) sensors = updateSensorsByEvent(sensors, portion(i, 3), withScale);
    expect(kinds(sensors)).toEqual([]); // nothing was weighed since
    const frozen = updateSensorsByReport(sensors, reading(800.2), "b-1", start, withScale);
    expect(sensorFaults(frozen, withScale, start, false)[0]?.reason).toBe(
      "The scale reading did not change, although 16 portions were seen to fall.",
    );
    expect(kinds(updateSensorsByReport(sensors, reading(768.1), "b-1", start, withScale))).toEqual([]);
  });

  it("is right to stay the same when nothing falls, or nobody sees whether it does", () => {
    for (const chuteCount of [0, null]) {
      let sensors = updateSensorsByReport(initialSensors(start), reading(800), "b-1", start, withScale);
      for (let i = 1; i <= 40; i++) sensors = updateSensorsByEvent(sensors, portion(i, chuteCount), withScale);
      expect(kinds(updateSensorsByReport(sensors, reading(800), "b-1", start, withScale))).toEqual([]);
    }
  });
});

describe("what is remembered of the sensors", () => {
  it("is plain JSON that goes on the same after it was stored, and never grows", () => {
    const first = runSilence({ seed: 1, habits: ordinaryHabits, from: start, length: days(30) }).sensors;
    const stored = JSON.parse(JSON.stringify(first)) as SensorsState;
    expect(stored).toEqual(first);
    const more = { seed: 2, habits: ordinaryHabits, from: time.after(start, days(30)), length: days(30) };
    const on = runSilence(more, stored);
    expect(on).toEqual(runSilence(more, first));
    expect(JSON.stringify(on.sensors).length).toBeLessThan(4_000);
  });

  it("is not moved by an event that tells of no sensor", () => {
    const sensors = initialSensors(start);
    const lid: FeederEvent = { kind: "lid", open: true, seq: 1, recordedAt: instant(0) };
    expect(updateSensorsByEvent(sensors, lid, larchSettings)).toBe(sensors);
  });
});
