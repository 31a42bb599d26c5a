import { after, days, type Instant, inHours, type Span } from "../../domain/instant.ts";
import type { Place } from "../../domain/settings.ts";
import { civilDaylightHours, lightSpans } from "../../domain/sun.ts";
import type { RandomSource } from "../random.ts";
import { isStormy } from "./weather.ts";

/** How the birds of one yard eat. */
export interface BirdParameters {
  readonly portionsPerDay: number; // of a usual day of eight hours of light
  readonly pressShare: number; // of landings
  readonly depositShare: number;
  readonly timerPerDay: number;
  readonly dayScatter: number; // standard deviation of a day's log appetite
  readonly dayMemory: number; // its correlation from one day to the next
  readonly trendPerDay: number; // of log appetite
  readonly clustered: number; // landings in a bout, on average
  readonly morning: number; // weight of the morning's peak against the afternoon's
  readonly learnerShare?: number; // of bouts; the others only eat. Left out: all
  readonly secondsBetween?: readonly [number, number]; // between landings of a bout. Left out: `usualSecondsBetween`
  readonly hammerShare?: number; // of presses, that are eight in a row. Left out: none
}

const usualSecondsBetween = [20, 120] as const;
const hammerBlows = 8;

/** One landing, and what the bird does there. */
export interface Landing {
  readonly at: Instant;
  readonly actions: readonly ("press" | "deposit")[];
}

/** The appetite of one day against a usual one: its own deviation, which fades over the next days, and the flock's growth. */
export class Appetite {
  #deviation = 0;
  #days = 0;

  next(birds: BirdParameters, random: RandomSource): number {
    const { dayMemory, dayScatter, trendPerDay } = birds;
    this.#deviation = dayMemory * this.#deviation + Math.sqrt(1 - dayMemory * dayMemory) * random.normal(0, dayScatter);
    this.#days += 1;
    return Math.exp(this.#deviation + trendPerDay * this.#days);
  }
}

export interface SimulatedBirdDay {
  readonly birds: BirdParameters;
  readonly place: Place;
  readonly seed: number; // of the weather
  readonly from: Instant;
  readonly appetite: number; // against a usual day's
  readonly stormShare?: number; // of days. Left out: as in weather.ts
  readonly stormAppetiteMax?: number; // of the usual, on such a day. Left out: 0.4
}

/** Hours of light in a usual day; in longer days the birds eat more slowly. */
const usualHours = 8;

/**
 * The landings of 24 hours from `from` on, in time order: bouts that begin as a Poisson process through the civil day, more of
 * them towards morning and afternoon, each of several landings half a minute to two minutes apart. In a storm few come.
 */
export function simulateLandings(
  { birds, place, seed, from, appetite, stormShare, stormAppetiteMax = 0.4 }: SimulatedBirdDay,
  random: RandomSource,
): Landing[] {
  const light = civilDaylightHours(place, from, after(from, days(1)));
  if (light <= 0) return [];
  const storm = isStormy(seed, from, stormShare) ? random.between(0, stormAppetiteMax) : 1;
  const perLanding = (birds.pressShare + birds.depositShare) * (birds.learnerShare ?? 1);
  const wanted = Math.max(0, birds.portionsPerDay - birds.timerPerDay);
  const bouts = (wanted * appetite * storm * Math.sqrt(light / usualHours)) / perLanding / birds.clustered;
  const landings: Landing[] = [];
  const spans = lightSpans(place, from, after(from, days(1))).filter(({ kind }) => kind !== "night");
  for (let left = poisson(bouts, random); left > 0; left -= 1) {
    landings.push(...simulateBout(momentIn(spans, light, birds, random), birds, random));
  }
  return landings.sort((a, b) => a.at - b.at);
}

function simulateBout(from: Instant, birds: BirdParameters, random: RandomSource): Landing[] {
  const { learnerShare, secondsBetween: [shortest, longest] = usualSecondsBetween } = birds;
  const areLearners = learnerShare === undefined || random.isTrueWith(learnerShare);
  const landings: Landing[] = [];
  let at = from;
  const landingCount = 1 + Math.floor(-Math.log(1 - random.uniform()) * (birds.clustered - 1) + 0.5);
  for (let landing = 0; landing < landingCount; landing += 1) {
    landings.push({ at, actions: areLearners ? landingActions(birds, random) : [] });
    at = after(at, Math.round(random.between(1_000 * shortest, 1_000 * longest)) as Span);
  }
  return landings;
}

function landingActions({ depositShare, pressShare, hammerShare }: BirdParameters, random: RandomSource) {
  const actions: ("press" | "deposit")[] = [];
  if (random.isTrueWith(depositShare)) actions.push("deposit");
  if (random.isTrueWith(pressShare)) {
    const hammers = hammerShare !== undefined && random.isTrueWith(hammerShare);
    for (let blow = 0; blow < (hammers ? hammerBlows : 1); blow += 1) actions.push("press");
  }
  return actions;
}

/** A moment of the day's light by the birds' own habit: by rejection sampling. */
function momentIn(
  spans: readonly { readonly from: Instant; readonly to: Instant }[],
  light: number,
  birds: BirdParameters,
  random: RandomSource,
): Instant {
  const most = 0.5 + 1.3 * Math.max(1, birds.morning);
  for (;;) {
    const share = random.uniform();
    const wanted =
      0.5 + birds.morning * Math.exp(-(((share - 0.15) / 0.12) ** 2)) + Math.exp(-(((share - 0.8) / 0.14) ** 2));
    if (random.uniform() * most > wanted) continue;
    let hoursLeft = share * light;
    for (const { from, to } of spans) {
      const long = inHours((to - from) as Span);
      if (hoursLeft <= long) return after(from, Math.round(hoursLeft * 3_600_000) as Span);
      hoursLeft -= long;
    }
    return spans.at(-1)?.to ?? (0 as Instant);
  }
}

/** A Poisson count, by its waiting times. */
export function poisson(mean: number, random: RandomSource): number {
  let count = 0;
  for (let passed = random.exponential(1); passed < mean; passed += random.exponential(1)) count += 1;
  return count;
}
