import { type Instant, instant } from "../../server/domain/instant.ts";
import { addLocalDays, type LocalDate, startOfLocalDay } from "../../server/domain/localTime.ts";
import type { FaultKind } from "./livedDay.ts";
import { Random } from "./random.ts";
import { dayNumberOf, hour } from "./weather.ts";

/**
 * Goal: feeders that fail, sometimes without anybody's knowledge, so that birds that aren't paid look like birds that
 * haven't learnt. Method: each day may begin one episode, drawn from seed and date alone. How often and how long is our
 * choice, above what a good feeder should do.
 */
export interface Episode {
  readonly kind: FaultKind;
  readonly from: Instant;
  readonly to: Instant;
  readonly knownFrom: Instant | null; // when the server notices; null: never
  readonly left: number; // of what a deaf detector still senses, 0 to 1
}

export interface FaultTraits {
  readonly daily: number; // the chance that one begins on a day
  readonly hiddenShare: number; // of those that a server can overlook
}

const longestHours = 72;
const spans: Readonly<Record<FaultKind, readonly [number, number]>> = {
  foodOut: [2, 60],
  jammed: [1, 40],
  detectorDeaf: [3, longestHours],
  paused: [0.5, 6],
  offline: [0.5, 12],
};
const kinds: readonly FaultKind[] = ["foodOut", "foodOut", "jammed", "jammed", "detectorDeaf", "paused", "offline"];

/** Those that reach into this local day. */
export function drawFaults(seed: number, traits: FaultTraits, zone: string, date: LocalDate): readonly Episode[] {
  const [from, to] = [startOfLocalDay(date, zone), startOfLocalDay(addLocalDays(date, 1), zone)];
  return [4, 3, 2, 1, 0]
    .flatMap((back) => drawEpisode(seed, traits, zone, addLocalDays(date, -back)))
    .filter((episode) => episode.to > from && episode.from < to);
}

function drawEpisode(seed: number, traits: FaultTraits, zone: string, date: LocalDate): readonly Episode[] {
  const random = new Random(seed, "fault", dayNumberOf(date));
  if (!random.chance(traits.daily)) return [];
  const kind = random.pick(kinds);
  const from = startOfLocalDay(date, zone) + random.between(0, 24) * hour;
  const to = from + random.logBetween(...spans[kind]) * hour;
  const canBeHidden = kind !== "paused" && kind !== "offline";
  const isHidden = canBeHidden && random.chance(traits.hiddenShare);
  const noticed = from + (canBeHidden ? random.logBetween(0.05, 3) * hour : 0);
  return [
    {
      kind,
      from: instant(Math.round(from)),
      to: instant(Math.round(to)),
      knownFrom: isHidden || noticed >= to ? null : instant(Math.round(noticed)),
      left: random.pick([0, 0, 0, 0.4]),
    },
  ];
}

export const present = (episodes: readonly Episode[], kind: FaultKind, at: number): Episode | undefined =>
  episodes.find((episode) => episode.kind === kind && at >= episode.from && at < episode.to);
