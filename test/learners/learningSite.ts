import { earlier, type Instant, later } from "../../server/domain/instant.ts";
import { addLocalDays, type LocalDate, startOfLocalDay } from "../../server/domain/localTime.ts";
import { civilDayAround } from "../../server/domain/sun.ts";
import type { Bird, BirdDay } from "./bird.ts";
import type { BirdToday } from "./birdToday.ts";
import { type DayOutcome, type DayPlan, type Trial, wakingHours } from "./dayPlan.ts";
import { DayRun } from "./dayRun.ts";
import { drawFaults, type Episode } from "./faults.ts";
import { Feeder } from "./feeder.ts";
import { addFalseVisits } from "./happenings.ts";
import type { Conditions, KnownFault, LivedDay, Site, StageKind } from "./livedDay.ts";
import { Random } from "./random.ts";
import type { SiteTraits } from "./traits.ts";
import { type DayWeather, dayNumberOf, drawWeather, hour, hourlyAir, meanWind, yearShare } from "./weather.ts";

/**
 * A site around a flock: what all kinds of sites have in common. Goal: that kinds differ in how birds learn, and in
 * nothing else. Replay: the same seed and the same calls of `live`.
 */
export interface Flock {
  /** Who is about on this day; the order may not change what is drawn later. */
  birdsOn(day: FlockDay): readonly Bird[];
  /** A factor on all numbers that this kind adds; 1: none. */
  coming(day: FlockDay): number;
  /** What this kind does to the feeder beside ordinary faults. */
  faults(day: FlockDay): readonly Episode[];
  /** After each bird's own mind has ended its day. */
  endDay(day: FlockDay): void;
}

export interface FlockDay {
  readonly dayNumber: number; // since 1970
  readonly dayIndex: number; // 0 on the site's first day
  readonly yearShare: number; // 0 to 1 from midwinter; also in the south
  readonly stage: StageKind;
  readonly from: Instant;
  readonly to: Instant;
  readonly random: Random;
}

/** Of a kind that leaves numbers and feeder alone. */
export const plainFlock = { coming: () => 1, faults: (): readonly Episode[] => [], endDay: () => {} };

/** A site that also shows what a test needs. */
export interface LearningSite extends Site {
  readonly traits: SiteTraits;
  liveWithTrials(date: LocalDate, conditions: Conditions): { readonly day: LivedDay; readonly outcome: DayOutcome };
}

export interface SiteParts {
  readonly seed: number;
  readonly kind: string;
  readonly learns: boolean;
  readonly traits: SiteTraits;
  readonly flock: Flock;
}

export function createSite(parts: SiteParts): LearningSite {
  const run = new SiteRun(parts);
  const { place, zone, hasPerch } = parts.traits;
  return {
    place,
    zone,
    hasPerch,
    traits: parts.traits,
    truth: { learns: parts.learns, kind: parts.kind },
    live: (date, conditions) => run.live(date, conditions).day,
    liveWithTrials: (date, conditions) => run.live(date, conditions),
  };
}

/** A bird that comes at least so readily counts as coming. */
const readily = 0.25;

class SiteRun {
  private readonly parts: SiteParts;
  private firstDay: number | null = null;
  private lastDay: number | null = null;
  private boots = 0;
  private nextSeq = 1;
  private actsSincePaid = 0;
  private lastPressDay = Number.NEGATIVE_INFINITY;

  constructor(parts: SiteParts) {
    this.parts = parts;
  }

  live(date: LocalDate, conditions: Conditions): { readonly day: LivedDay; readonly outcome: DayOutcome } {
    const { seed, traits, flock } = this.parts;
    const today = this.beginDay(date, conditions);
    const birds = flock.birdsOn(today);
    for (const { mind } of birds) mind.beginDay(today.dayNumber);
    const plan = this.plan(date, conditions, today, birds);
    const episodes = [...drawFaults(seed, traits.faults, traits.zone, date), ...flock.faults(today)];
    const hasDetector = conditions.stage !== "comeForFood" && conditions.stage !== "pressForFood";
    const feeder = new Feeder({ conditions, traits, episodes, hasDetector }, today.random, this.actsSincePaid);
    const truth = birdCounts(birds, conditions.stage);
    const outcome = new DayRun(plan, feeder, today.random).run();
    addFalseVisits(plan, feeder, today.random);
    this.actsSincePaid = feeder.unpaidActs;
    const events = feeder.record(this.nextSeq);
    this.nextSeq += events.length;
    for (const one of outcome.birds) one.bird.mind.endDay(birdDay(one, plan, today));
    flock.endDay(today);
    const day: LivedDay = {
      date,
      events,
      boot: `site-${seed}-${this.boots}`,
      weather: hourlyAir(plan.weather),
      faults: knownFaults(episodes, today),
      truth: {
        actShare: actShare(conditions.stage, outcome),
        expectedBouts: outcome.expectedBouts,
        ...truth,
        hiddenFault: episodes.some(
          ({ knownFrom, from, to }) =>
            (knownFrom === null || knownFrom >= today.to) && to > plan.light.from && from < plan.light.to,
        ),
      },
    };
    return { day, outcome };
  }

  private beginDay(date: LocalDate, { stage }: Conditions): FlockDay {
    const { seed, kind, traits } = this.parts;
    const dayNumber = dayNumberOf(date);
    if (this.lastDay !== null && dayNumber <= this.lastDay) {
      throw new RangeError(`expected a date after day ${this.lastDay} since 1970, got ${date} (day ${dayNumber})`);
    }
    this.firstDay ??= dayNumber;
    this.lastDay = dayNumber;
    if (stage === "pressForFood") this.lastPressDay = dayNumber;
    const random = new Random(seed, `${kind} day`, dayNumber);
    if (this.boots === 0 || random.chance(0.03)) {
      this.boots += 1;
      this.nextSeq = 1;
    }
    return {
      dayNumber,
      dayIndex: dayNumber - this.firstDay,
      yearShare: yearShare(traits.place, date),
      stage,
      from: startOfLocalDay(date, traits.zone),
      to: startOfLocalDay(addLocalDays(date, 1), traits.zone),
      random,
    };
  }

  private plan(date: LocalDate, conditions: Conditions, today: FlockDay, birds: readonly Bird[]): DayPlan {
    const { seed, traits, flock } = this.parts;
    const mood = today.random.factor(traits.moodSpread);
    const weather = drawWeather(seed, traits.place, traits.zone, date);
    return {
      conditions,
      traits,
      weather,
      light: lightOf(traits, today.from),
      birds,
      coming: mood * seasonFactor(traits, today.yearShare) * flock.coming(today),
      chanceShare: chanceToday(traits, conditions.stage, weather),
      // Extinction: what is no longer paid goes within some weeks. The pace is our choice.
      vainPress: 0.4 * Math.exp(-(today.dayNumber - this.lastPressDay) / 10),
    };
  }
}

/** In wind a button is brushed more often, and a cap falls in; never in more than 15 % of bouts. */
function chanceToday({ chanceShare, windHelps }: SiteTraits, stage: StageKind, weather: DayWeather): number {
  const wind = Math.max(0.3, Math.min(2, meanWind(weather)));
  return Math.min(0.15, chanceShare[stage] * (1 + windHelps * (wind - 1)));
}

/** Nestlings from late April to mid June, most birds in October and November. Dates from memory, for the north. */
function seasonFactor({ nestlingFactor, autumnFactor }: SiteTraits, share: number): number {
  const near = (middle: number, width: number) => Math.exp(-(((share - middle) / width) ** 2));
  return nestlingFactor ** near(0.38, 0.07) * autumnFactor ** near(0.83, 0.1);
}

function lightOf({ place }: SiteTraits, dayFrom: Instant): DayPlan["light"] {
  const at = (hours: number) => (dayFrom + hours * hour) as Instant;
  const { dawn, dusk } = civilDayAround(place, at(12.5));
  const [from, to] = [later(dawn, at(wakingHours.from)), earlier(dusk, at(wakingHours.to))];
  if (to - from < hour) throw new RangeError(`expected an hour of light at least, got ${from}..${to}`);
  return { from, to };
}

function actShare(stage: StageKind, { bouts, portions, shareAtBegin }: DayOutcome): number {
  const trials: readonly Trial[] = stage === "comeForFood" ? portions : bouts;
  if (trials.length === 0) return shareAtBegin;
  return trials.reduce((sum, { expected }) => sum + expected, 0) / trials.length;
}

const birdCounts = (birds: readonly Bird[], stage: StageKind) => ({
  birdsComing: birds.filter(({ mind }) => mind.comes() >= readily).length,
  birdsKnowing: birds.filter(({ mind }) => mind.knows(stage)).length,
});

function birdDay(one: BirdToday, { conditions, weather }: DayPlan, today: FlockDay): BirdDay {
  const { hourly }: DayWeather = weather;
  return {
    dayNumber: today.dayNumber,
    stage: conditions.stage,
    gramsEach: conditions.gramsEach,
    paysEvery: conditions.paysEvery,
    airCelsius: hourly.reduce((sum, { airCelsius }) => sum + airCelsius, 0) / hourly.length,
    freePortions: conditions.freePortions,
    bouts: one.bouts,
    boutsFed: one.boutsFed,
    acts: one.acts,
    paidActsSeen: one.paidActsSeen,
  };
}

const knownFaults = (episodes: readonly Episode[], { from, to }: FlockDay): readonly KnownFault[] =>
  episodes.flatMap((episode) => {
    if (episode.knownFrom === null || episode.knownFrom >= to || episode.to <= from) return [];
    return [{ kind: episode.kind, from: later(episode.knownFrom, from), to: earlier(episode.to, to) }];
  });
