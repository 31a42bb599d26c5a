import { after, days, hours, type Instant, type Span, seconds } from "../../../server/domain/instant.ts";
import type { EventContent, FeederEvent } from "../../../server/domain/report.ts";
import type { Place } from "../../../server/domain/settings.ts";
import { type BirdParameters, simulateLandings } from "../../../server/practice/model/birdDay.ts";
import type { RandomSource } from "../../../server/practice/random.ts";

/** How the simulated birds live: bouts of visits, of which some are by learners and some by birds that never press. */
export interface BirdHabits {
  readonly boutEvery: Span; // mean, on a day of eight hours of light
  readonly visitsInBout: number; // mean
  readonly visitEvery: Span; // mean, within a bout
  readonly learners: number; // share of bouts that are theirs
  readonly presses: number; // chance that a learner's visit brings a press
  readonly deposits: number; // … or a deposit
  readonly hammers: number; // share of presses that are many in a row
  readonly stormyDays: number; // share of days on which no bird comes
}

function birdParameters(habits: BirdHabits): BirdParameters {
  const { boutEvery, visitsInBout, learners, presses, deposits, hammers } = habits;
  const visitsPerDay = (hours(8) / boutEvery) * visitsInBout;
  return {
    portionsPerDay: visitsPerDay * learners * (presses + deposits),
    pressShare: presses,
    depositShare: deposits,
    timerPerDay: 0,
    dayScatter: 0,
    dayMemory: 0,
    trendPerDay: 0,
    clustered: visitsInBout,
    morning: 1,
    learnerShare: learners,
    secondsBetween: [0, (2 * habits.visitEvery) / 1_000],
    hammerShare: hammers,
  };
}

/** What a feeder in order would record from `from` to `to`, in order: the practice model's birds, by their landings. */
export function* simulateBirds(
  random: RandomSource,
  place: Place,
  habits: BirdHabits,
  from: Instant,
  to: Instant,
): Generator<FeederEvent> {
  let seq = 0;
  const event = (happening: EventContent, recordedAt: Instant): FeederEvent => ({
    ...happening,
    seq: ++seq,
    recordedAt,
  });
  const yard = {
    birds: birdParameters(habits),
    place,
    appetite: 1,
    stormShare: habits.stormyDays,
    stormAppetiteMax: 0,
  };
  const seed = Math.floor(random.uniform() * 2 ** 32);
  const midnight = (Math.floor(from / days(1)) * days(1)) as Instant;
  for (let day = midnight; day < to; day = after(day, days(1))) {
    for (const { at, actions } of simulateLandings({ ...yard, seed, from: day }, random)) {
      if (at < from || at >= to) continue;
      yield event({ kind: "visit" }, at);
      let actsAt = after(at, seconds(2));
      for (const action of actions) {
        if (action === "press") yield event({ kind: "press" }, actsAt);
        else yield event({ kind: "deposit", metal: true, signal: 0.8, chute: true }, actsAt);
        actsAt = after(actsAt, 400 as Span);
      }
    }
  }
}
