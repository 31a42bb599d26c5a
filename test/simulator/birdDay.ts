import { after, days, type Instant, inHours, type Span } from "../../server/domain/instant.ts";
import type { Place } from "../../server/domain/settings.ts";
import { civilDaylightHours, lightSpans } from "../../server/domain/sun.ts";
import type { RandomSource } from "../../server/practice/random.ts";
import { isStormy } from "../../server/practice/weather.ts";
import type { BirdParameters } from "./plot.ts";

/** One landing, and what the bird does there. */
export interface Landing {
  readonly at: Instant;
  readonly acts: readonly ("press" | "deposit")[];
}

/** The appetite of one day against a usual one: its own mood, which fades into the next days', and the flock's growth. */
export class Appetite {
  #mood = 0;
  #days = 0;

  next(birds: BirdParameters, chance: RandomSource): number {
    const { dayMemory, dayScatter, trendPerDay } = birds;
    this.#mood = dayMemory * this.#mood + Math.sqrt(1 - dayMemory * dayMemory) * chance.normal(0, dayScatter);
    this.#days += 1;
    return Math.exp(this.#mood + trendPerDay * this.#days);
  }
}

/** Portions that this seed's birds ask for in eight hours of light; longer days are eaten more slowly. */
const usualHours = 8;

/**
 * The landings of 24 hours from `from` on, in time order: bouts that begin as a Poisson process through the civil day, more of
 * them towards morning and afternoon, each of several landings half a minute to two minutes apart. In a storm few come.
 */
export function simulateLandings(
  birds: BirdParameters,
  place: Place,
  seed: number,
  from: Instant,
  appetite: number,
  chance: RandomSource,
): Landing[] {
  const light = civilDaylightHours(place, from, after(from, days(1)));
  if (light <= 0) return [];
  const storm = isStormy(seed, from) ? chance.between(0, 0.4) : 1;
  const perLanding = birds.pressShare + birds.depositShare;
  const asked = Math.max(0, birds.portionsPerDay - birds.timerPerDay);
  const bouts = (asked * appetite * storm * Math.sqrt(light / usualHours)) / perLanding / birds.clustered;
  const landings: Landing[] = [];
  const spans = lightSpans(place, from, after(from, days(1))).filter(({ kind }) => kind !== "night");
  for (let begun = poisson(bouts, chance); begun > 0; begun -= 1) {
    let at = momentIn(spans, light, birds, chance);
    const many = 1 + Math.floor(-Math.log(1 - chance.uniform()) * (birds.clustered - 1) + 0.5);
    for (let landing = 0; landing < many; landing += 1) {
      const acts: ("press" | "deposit")[] = [];
      if (chance.isTrueWith(birds.depositShare)) acts.push("deposit");
      if (chance.isTrueWith(birds.pressShare)) acts.push("press");
      landings.push({ at, acts });
      at = after(at, Math.round(chance.between(20_000, 120_000)) as Span);
    }
  }
  return landings.sort((a, b) => a.at - b.at);
}

/** A moment of the day's light by the birds' own rhythm: by rejection from an even one. */
function momentIn(
  spans: readonly { readonly from: Instant; readonly to: Instant }[],
  light: number,
  birds: BirdParameters,
  chance: RandomSource,
): Instant {
  const most = 0.5 + 1.3 * Math.max(1, birds.morning);
  for (;;) {
    const share = chance.uniform();
    const wanted =
      0.5 + birds.morning * Math.exp(-(((share - 0.15) / 0.12) ** 2)) + Math.exp(-(((share - 0.8) / 0.14) ** 2));
    if (chance.uniform() * most > wanted) continue;
    let left = share * light;
    for (const { from, to } of spans) {
      const long = inHours((to - from) as Span);
      if (left <= long) return after(from, Math.round(left * 3_600_000) as Span);
      left -= long;
    }
    return spans.at(-1)?.to ?? (0 as Instant);
  }
}

/** A count by its waiting times. */
export function poisson(mean: number, chance: RandomSource): number {
  let count = 0;
  for (let passed = chance.exponential(1); passed < mean; passed += chance.exponential(1)) count += 1;
  return count;
}
