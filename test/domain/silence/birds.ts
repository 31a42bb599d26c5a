import type { Instant, Span } from "../../../server/domain/instant.ts";
import type { EventContent, FeederEvent } from "../../../server/domain/report.ts";
import type { Place } from "../../../server/domain/settings.ts";
import { lightAt } from "../../../server/domain/sun.ts";
import type { RandomSource } from "../../../server/practice/random.ts";

/** How the simulated birds live: bouts of visits, of which some are by learners and some by birds that never press. */
export interface BirdHabits {
  readonly boutEvery: Span; // mean, in the light
  readonly visitsInBout: number; // mean, geometric
  readonly visitEvery: Span; // mean, within a bout
  readonly learners: number; // share of bouts that are theirs
  readonly presses: number; // chance that a learner's visit brings a press
  readonly deposits: number; // … or a deposit
  readonly stormyDays: number; // share of days on which no bird comes
}

/** What a feeder in order would record from `from` to `to`, in order. */
export function* simulateBirds(
  random: RandomSource,
  place: Place,
  habits: BirdHabits,
  from: Instant,
  to: Instant,
): Generator<FeederEvent> {
  let seq = 0;
  let day = -1;
  let stormy = false;
  let at: number = from;
  const event = (happening: EventContent, moment: number): FeederEvent => ({
    ...happening,
    seq: ++seq,
    recordedAt: Math.round(moment) as Instant,
  });
  while (at < to) {
    at += random.exponential(habits.boutEvery);
    const today = Math.floor(at / 86_400_000);
    if (today !== day) {
      day = today;
      stormy = random.isTrueWith(habits.stormyDays);
    }
    if (stormy || lightAt(place, at as Instant) === "night") continue;
    const learner = random.isTrueWith(habits.learners);
    do {
      at += random.exponential(habits.visitEvery);
      if (at >= to) return;
      yield event({ kind: "visit" }, at);
      if (!learner) continue;
      if (random.isTrueWith(habits.presses)) {
        // Some hammer.
        for (let i = 0; i < (random.isTrueWith(0.1) ? 8 : 1); i++) yield event({ kind: "press" }, at + 2_000 + 400 * i);
      }
      if (random.isTrueWith(habits.deposits)) {
        yield event({ kind: "deposit", metal: true, signal: 0.8, chute: true }, at + 8_000);
      }
    } while (random.isTrueWith(1 - 1 / habits.visitsInBout));
  }
}
