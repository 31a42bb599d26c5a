import { type Instant, instant } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { type Appetite, lightFactor, unknownAppetite } from "./appetite.ts";
import { type DailyAppetite, firstDay } from "./dailyAppetite.ts";
import { dayAround, partAt, partsOfDay } from "./daySpan.ts";
import { type HopperState, unknownHopper } from "./level.ts";
import { type Covariance, independent } from "./levelFilter.ts";

/** A hopper as a state of version 1 holds it: the scale's zero had no slope, and the appetite went by the hour in UTC. */
export interface HopperV1 {
  readonly known: boolean;
  readonly belief: {
    readonly level: number;
    readonly levelVariance: number;
    readonly portion: number;
    readonly portionVariance: number;
    readonly covariance: number;
  };
  readonly spreadVariance: number;
  readonly portionSaid: number;
  readonly portionsSinceWeighed: number;
  readonly lastPortionAt: Instant | null;
  readonly weighedAt: Instant | null;
  readonly fixedAt: Instant | null;
  readonly jump: { readonly grams: number; readonly at: Instant } | null;
  readonly found: { readonly grams: number; readonly at: Instant } | null;
  readonly toldAt: Instant | null;
  readonly emptySince: Instant | null;
  readonly appetite: AppetiteV1;
}

export interface AppetiteV1 {
  readonly since: Instant | null;
  readonly at: Instant;
  readonly dayStart: Instant;
  readonly dayEaten: number;
  readonly days: number;
  readonly dayMean: number;
  readonly dayVariance: number;
  readonly byHour: readonly number[];
}

/** The same knowledge in today's shape; what was never learnt begins as in a new feeder. A pending jump begins anew. */
export function hopperFromV1(old: HopperV1, settings: FeederSettings): HopperState {
  const fresh = unknownHopper(settings, old.appetite.at);
  const { belief } = fresh;
  const [, , , , , slope, , , , offset] = belief.covariance;
  const { level, levelVariance, portion, portionVariance, covariance } = old.belief;
  const plain = independent({ level: levelVariance, portion: portionVariance, slope, offset });
  const doubt = plain.map((variance, place) => {
    if (place === 1) return covariance;
    if (old.weighedAt === null) return variance;
    // The scale's reading held for the level itself: what its zero is off, the level is off the other way.
    return place === 0 ? variance + offset : place === 6 ? -offset : variance;
  });
  return {
    ...fresh,
    known: old.known,
    belief: { ...belief, level, portion, covariance: doubt as unknown as Covariance },
    spreadVariance: old.spreadVariance,
    portionSaid: old.portionSaid,
    portionsSinceWeighed: old.portionsSinceWeighed,
    lastPortionAt: old.lastPortionAt,
    weighedAt: old.weighedAt,
    fixedAt: old.fixedAt,
    found: old.found,
    toldAt: old.toldAt,
    emptySince: old.emptySince,
    appetite: appetiteFrom(old.appetite, portion, settings),
  };
}

function appetiteFrom(old: AppetiteV1, portion: number, settings: FeederSettings): Appetite {
  const fresh = unknownAppetite(old.at);
  if (old.since === null) return fresh;
  const day = dayAround(settings, old.at);
  const total = old.byHour.reduce((sum, mass) => sum + Math.max(0, mass), 0);
  return {
    ...fresh,
    since: old.since,
    at: old.at,
    // The day's own count goes by another day now: it begins afresh, and what was eaten in it is in the habits.
    dayStart: old.at,
    daily: old.days >= 1 && old.dayMean > 0 ? dailyFrom(old, portion, lightFactor(day)) : null,
    byPart: old.days >= 1 && total > 0 ? partsFrom(old.byHour, old.at, settings) : fresh.byPart,
    daysByPart: fresh.daysByPart.map(() => (old.days >= 1 && old.dayMean > 0 ? total / old.dayMean : 0)),
  };
}

function dailyFrom({ dayMean, dayVariance, days }: AppetiteV1, portion: number, light: number): DailyAppetite {
  const first = firstDay(dayMean / light, { portions: dayMean / portion, share: 1 });
  const scatter = days >= 3 ? Math.min(0.3, Math.max(0.01, dayVariance / (dayMean * dayMean))) : first.moodVariance;
  const known = Math.min(days, 3);
  const [, bt, tt, , tm] = first.covariance;
  // The mean of so many days, each with a mood of its own, and nothing is known of today's.
  return { ...first, moodVariance: scatter, days, covariance: [scatter / known, bt, tt, 0, tm, scatter] };
}

function partsFrom(byHour: readonly number[], at: Instant, settings: FeederSettings): readonly number[] {
  const parts = new Array<number>(partsOfDay).fill(0);
  const midnight = Math.floor(at / dayLong) * dayLong;
  const steps = 12; // of five minutes
  byHour.forEach((mass, hour) => {
    for (let step = 0; step < steps; step += 1) {
      const moment = instant(midnight + hour * hourLong + ((step + 0.5) * hourLong) / steps);
      const { part } = partAt(dayAround(settings, moment), moment);
      parts[part] = (parts[part] ?? 0) + Math.max(0, mass) / steps;
    }
  });
  return parts;
}

const hourLong = 3_600_000;
const dayLong = 24 * hourLong;
