import { overWater, saturationPressure } from "../../../server/domain/cold/psychrometrics.ts";
import { after, type Instant, instantOf, minutes } from "../../../server/domain/instant.ts";
import { memoize } from "../../../server/domain/memoize.ts";
import { lightAt } from "../../../server/domain/sun.ts";
import { celsius } from "../../../server/domain/units.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { larchSettings } from "../silence/larch.ts";

/**
 * An invented winter at Alder Croft, November to March, a value each ten minutes: spells of cloud of a day or two and clear
 * ones between; clear nights cool the air by some degrees until it is nearly saturated, cloudy ones hardly; rain, fog and wet
 * snow saturate it. No source: made so that what is common in such winters is common in it, damp nights above all.
 * Its own weather: in the practice feeders' no night saturates the air, and ice hardly forms on a lid that nobody measures.
 */
export interface WinterMoment {
  readonly at: Instant;
  readonly air: number;
  readonly lid: number; // as it truly is
  readonly inside: number;
  readonly humidity: number; // beside the inside thermometer, percent over water
  readonly outsideHumidity: number;
  readonly clear: boolean;
}

const winterStart = instantOf("2026-11-01T00:00:00Z");
export const winterDays = 151;

/** `kind`: `healthy` goes from -20 to 5 °C; `mild` hovers about zero, the dampest and the worst for glaze. */
export const winter = memoize(8, (seed: number, kind: "healthy" | "mild" = "healthy") => `${seed} ${kind}`, invented);

function invented(seed: number, kind: "healthy" | "mild" = "healthy"): WinterMoment[] {
  const random = seededRandom(seed);
  const place = larchSettings.place;
  if (place === null) throw new Error("expected Larch to have a place");
  const moments: WinterMoment[] = [];
  const mean = kind === "healthy" ? -5 : 0.5;
  const swing = kind === "healthy" ? 5 : 2.5;
  let clear = false;
  let rain = false;
  let synoptic = mean;
  let nightly = 0; // K by which the air differs from what the weather brings
  let spread = 1; // K between air and dew point
  const bias = random.normal(0, 1.5);
  const perHour = 6;
  for (let i = 0; i < winterDays * 24 * perHour; i++) {
    const at = after(winterStart, minutes(10 * i));
    if (random.isTrueWith(1 / ((clear ? 26 : 40) * perHour))) clear = !clear;
    if (random.isTrueWith(1 / ((rain ? 5 : 20) * perHour))) rain = !rain;
    const keeps = Math.exp(-1 / (96 * perHour));
    synoptic = mean + keeps * (synoptic - mean) + swing * Math.sqrt(1 - keeps * keeps) * random.normal(0, 1);
    const light = lightAt(place, at);
    const target = light === "day" ? (clear ? 2 : 0.5) : clear ? -5 : -0.3;
    nightly += (target - nightly) / (5 * perHour);
    const air = Math.min(5, Math.max(-20, synoptic + nightly));
    const wet = rain && !clear;
    spread += ((wet ? 0.1 : clear ? 3.5 : 1.2) - spread) / (8 * perHour);
    // What the weather brought keeps its vapour while the night cools it, up to saturation.
    const dew = Math.min(air - 0.1, synoptic - spread);
    const vapour = saturationPressure(overWater, celsius(dew));
    const lid = air - (light === "day" ? -1 : clear ? 3.5 : 0.2) + random.normal(0, 0.2);
    const inside = air + 1.5 + random.normal(0, 0.1);
    const humidityAt = (temperature: number) =>
      Math.min(
        100,
        Math.max(
          1,
          (100 * vapour) / saturationPressure(overWater, celsius(temperature)) + bias + random.normal(0, 0.7),
        ),
      );
    moments.push({ at, air, lid, inside, humidity: humidityAt(inside), outsideHumidity: humidityAt(air), clear });
  }
  return moments;
}
