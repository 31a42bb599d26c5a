import { describe, expect, it } from "vitest";
import { after, days, hours, type Instant, instant, instantOf, minutes } from "../../../server/domain/instant.ts";
import type { Place } from "../../../server/domain/settings.ts";
import {
  type DayProfile,
  exposure,
  initialDayProfile,
  updateDayProfile,
} from "../../../server/domain/silence/dayProfile.ts";
import { initialSensors, sensorFaults, updateSensorsByEvent } from "../../../server/domain/silence/sensorFaults.ts";
import { logGammaSilence } from "../../../server/domain/silence/tailProbabilities.ts";
import { civilDayAround, civilDaylightHours } from "../../../server/domain/sun.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { larchSettings } from "./larch.ts";

/** The invented places of the check values sun-alder-… and sun-drift-…. */
const alder: Place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
const drift: Place = { latitudeDegrees: 68.4, longitudeDegrees: 18.1 };
const start = instantOf("2026-03-01T00:00:00Z");

/** Bouts at a share of the birds' day, 0 at civil dawn and 1 at dusk, so many a day on average. */
function* boutsAt(place: Place, from: Instant, length: number, aDay: number, shareOf: () => number, seed = 1) {
  const random = seededRandom(seed);
  for (let day = 0; day < length; day++) {
    const { dawn, dusk } = civilDayAround(place, after(from, days(day + 0.5)));
    if (dusk === dawn) continue;
    const today: Instant[] = [];
    for (let n = random.exponential(1 / aDay); n < 1; n += random.exponential(1 / aDay)) {
      today.push(instant(Math.round(dawn + shareOf() * (dusk - dawn))));
    }
    yield* today.sort((a, b) => a - b);
  }
}

function learntFrom(bouts: Iterable<Instant>, place: Place | null): DayProfile {
  let profile = initialDayProfile;
  for (const at of bouts) profile = updateDayProfile(profile, place, at);
  return profile;
}

describe("exposure", () => {
  it("is the hours of civil daylight where nothing is known of the day", () => {
    const to = after(start, days(12.3));
    expect(exposure(initialDayProfile, alder, start, to)).toBeCloseTo(civilDaylightHours(alder, start, to), 6);
    expect(exposure(initialDayProfile, null, start, to)).toBeCloseTo(12.3 * 24, 6);
  });

  it("comes to the hours of the whole day however it is used, and lies where it is used", () => {
    const random = seededRandom(7);
    const morning = learntFrom(
      boutsAt(alder, start, 60, 12, () => 0.4 * random.uniform()),
      alder,
    );
    const { from, to, dawn, dusk } = civilDayAround(alder, after(start, days(61.5)));
    const whole = exposure(morning, alder, from, to);
    expect(whole).toBeCloseTo((dusk - dawn) / hours(1), 0);
    const noon = instant((dawn + dusk) / 2);
    expect(exposure(morning, alder, dawn, noon) / whole).toBeGreaterThan(0.85);
  });

  it("makes of an uneven day even gaps: 1 - e^-ΔΛ is uniform (time rescaling, Brown et al. 2002)", () => {
    const random = seededRandom(3);
    const shareOf = () => (random.isTrueWith(0.8) ? 0.25 * random.uniform() : random.uniform()); // four in five soon after dawn
    const profile = learntFrom(boutsAt(alder, start, 60, 12, shareOf), alder);
    const bouts = [...boutsAt(alder, after(start, days(60)), 60, 12, shareOf, 2)];
    const offUniform = (of: DayProfile) => {
      const gaps = bouts.slice(1).map((at, i) => exposure(of, alder, bouts[i] as Instant, at));
      const mean = gaps.reduce((sum, gap) => sum + gap, 0) / gaps.length;
      const us = gaps.map((gap) => 1 - Math.exp(-gap / mean)).sort((a, b) => a - b);
      return Math.max(...us.map((u, i) => Math.abs(u - (i + 0.5) / us.length))); // Kolmogorov & Smirnov's distance
    };
    expect(offUniform(profile)).toBeLessThan(0.11);
    expect(offUniform(initialDayProfile)).toBeGreaterThan(0.2); // by the hours of light alone they are not
  });

  it("is what the chance of a silence is reckoned from: e^-Λ where the rate is known (check value nhpp-silence, computed)", () => {
    const lambda = 4 * 1 + 0.05 * 17;
    expect(lambda).toBeCloseTo(4.85, 10);
    expect(Math.abs(Math.exp(logGammaSilence(1e9, 1e9, lambda)) - 0.00782838)).toBeLessThan(1e-7);
  });

  it("is some hours of twilight in the polar night at 68.4° N, and the whole day under the midnight sun", () => {
    const midwinter = instantOf("2026-12-21T00:00:00Z");
    const lit = exposure(initialDayProfile, drift, midwinter, after(midwinter, days(1)));
    expect(lit).toBeGreaterThan(4.9); // 08:12 to 13:18 UTC
    expect(lit).toBeLessThan(5.2);
    const midsummer = instantOf("2026-06-21T00:00:00Z");
    expect(exposure(initialDayProfile, drift, midsummer, after(midsummer, days(1)))).toBeCloseTo(24, 6);
    // Birds that come "in the morning" do so there too, and the parts of the day still come to the whole of it.
    const random = seededRandom(1);
    const early = learntFrom(
      boutsAt(drift, midsummer, 20, 8, () => 0.4 * random.uniform()),
      drift,
    );
    expect(exposure(early, drift, midsummer, after(midsummer, days(3)))).toBeCloseTo(72, -1);
  });

  it("goes on where the sun gives no light at all", () => {
    const pole: Place = { latitudeDegrees: 84, longitudeDegrees: 10 };
    const dark = instantOf("2026-12-01T00:00:00Z");
    expect(exposure(updateDayProfile(initialDayProfile, pole, dark), pole, dark, after(dark, days(20)))).toBe(0);
  });
});

describe("a button that stands alone", () => {
  const settings = {
    ...larchSettings,
    sensors: { button: true, detector: false, perch: false, chute: false, scale: false },
  };

  function pressedBy(bouts: Iterable<Instant>, place: Place | null = alder) {
    let sensors = initialSensors(start);
    let seq = 0;
    let last = start;
    for (const recordedAt of bouts) {
      sensors = updateSensorsByEvent(sensors, { kind: "press", seq: ++seq, recordedAt }, { ...settings, place });
      last = recordedAt;
    }
    const foundAt = () => {
      for (let at = last; at < last + days(30); at = after(at, minutes(30))) {
        if (sensorFaults(sensors, { ...settings, place }, at, false).length > 0) return (at - last) / days(1);
      }
      return Number.POSITIVE_INFINITY;
    };
    return { sensors, last, foundAt };
  }

  it("that is used in the mornings isn't silent because of quiet noons and evenings, nor late for a long summer day", () => {
    const random = seededRandom(9);
    const spring = instantOf("2026-04-01T00:00:00Z");
    const morning = () => 0.25 * random.uniform();
    let cried = 0;
    let { sensors, last } = pressedBy([]);
    let seq = 0;
    for (const at of boutsAt(alder, spring, 75, 5, morning)) {
      for (let look = last; look < at; look = after(look, hours(1))) {
        if (seq > 0 && sensorFaults(sensors, settings, look, false).length > 0) cried++;
      }
      sensors = updateSensorsByEvent(sensors, { kind: "press", seq: ++seq, recordedAt: at }, settings);
      last = at;
    }
    expect(cried).toBe(0);
    const { foundAt } = pressedBy(boutsAt(alder, spring, 75, 5, morning));
    expect(foundAt()).toBeLessThan(4);
  });

  it("is found within days under the midnight sun, and in the polar night's few hours of twilight not much later", () => {
    const random = seededRandom(4);
    const summer = pressedBy(boutsAt(drift, instantOf("2026-06-01T00:00:00Z"), 30, 10, random.uniform), drift);
    expect(summer.foundAt()).toBeLessThan(4);
    const winter = pressedBy(boutsAt(drift, instantOf("2026-12-05T00:00:00Z"), 30, 10, random.uniform), drift);
    expect(winter.foundAt()).toBeGreaterThanOrEqual(2);
    expect(winter.foundAt()).toBeLessThan(5);
  });

  it("is borne with for a stormy day, and isn't judged from its first two days alone", () => {
    const random = seededRandom(5);
    const known = pressedBy(boutsAt(alder, start, 30, 20, random.uniform));
    expect(known.foundAt()).toBeGreaterThanOrEqual(2);
    const young = pressedBy(boutsAt(alder, start, 2, 40, random.uniform));
    expect(young.foundAt()).toBe(Number.POSITIVE_INFINITY);
    const few = pressedBy(boutsAt(alder, start, 5, 4, random.uniform)); // twenty bouts
    expect(few.foundAt()).toBe(Number.POSITIVE_INFINITY);
  });
});
