import type { DayPlan } from "./dayPlan.ts";
import type { Feeder } from "./feeder.ts";
import type { Random } from "./random.ts";
import { type DayWeather, hour, meanWind, weatherAt } from "./weather.ts";

/** What happens at a feeder beside the birds, by its begin. */
export interface Happening {
  readonly at: number;
  readonly kind: "free" | "wind" | "leaf" | "keeper";
  readonly until: number;
}

const minute = 60_000;

/** Of one local day, the first first. */
export function drawHappenings({ conditions, traits, weather, light }: DayPlan, random: Random): Happening[] {
  const single = (kind: Happening["kind"], at: number): Happening => ({ kind, at, until: at });
  const inLight = () => random.between(light.from, light.to);
  const free = Array.from({ length: Math.round(conditions.freePortions) }, () => single("free", inLight()));
  const byWind = (kind: Happening["kind"], daily: number) =>
    Array.from({ length: random.poisson(daily * meanWind(weather)) }, () => single(kind, windyMoment(weather, random)));
  const keeperFrom = random.between(light.from + 10 * minute, light.to - 10 * minute);
  const keeper: Happening[] = random.chance(1 / traits.keeperEveryDays)
    ? [{ kind: "keeper", at: keeperFrom, until: keeperFrom + random.between(2, 9) * minute }]
    : [];
  return [...free, ...byWind("wind", traits.windActsDaily), ...byWind("leaf", traits.rejectedDaily), ...keeper].sort(
    (a, b) => a.at - b.at,
  );
}

/**
 * Perch events without a corvid: wind at any hour, small birds in the light, a few at a time. So many that they make up
 * the site's share of all visits.
 */
export function addFalseVisits(plan: DayPlan, feeder: Feeder, random: Random): void {
  const share = plan.traits.falseVisitShare;
  let left = random.poisson((feeder.visits * share) / (1 - share));
  while (left > 0) {
    if (random.chance(0.4)) {
      feeder.visit(windyMoment(plan.weather, random));
      left -= 1;
      continue;
    }
    const at = random.between(plan.light.from, plan.light.to);
    const landings = Math.min(left, 1 + random.geometric(1));
    for (let index = 0; index < landings; index += 1) feeder.visit(at + index * random.between(3, 40) * 1_000);
    left -= landings;
  }
}

function windyMoment(weather: DayWeather, random: Random): number {
  const last = weather.from + weather.hourly.length * hour - 2 * minute; // its portion belongs to the same day
  for (let tries = 0; tries < 50; tries += 1) {
    const at = random.between(weather.from, last);
    if (random.chance(weatherAt(weather, at).windMetersPerSecond / 15)) return at;
  }
  return random.between(weather.from, last);
}
