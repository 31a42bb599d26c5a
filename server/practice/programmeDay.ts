import { after, type Instant, inHours, minutes, type Span, seconds } from "../domain/instant.ts";
import type { TimeSpan } from "../domain/timeSpans.ts";
import { actOf, type Stage } from "../domain/training/stage.ts";
import type { DayWeather, LearningBirds } from "./model/learningBirds.ts";
import type { RandomSource } from "./random.ts";

/** One day of the practice feeder that lives a whole programme, as the events which a feeder's own program would record. */

export type Mishap = "none" | "hopperEmpty" | "trayFrozen";

export interface ProgrammeDayInput {
  readonly lit: TimeSpan; // civil dawn to dusk
  readonly stage: Stage;
  readonly birds: LearningBirds;
  readonly weather: DayWeather;
  readonly mishap: Mishap;
  /** Food that the keeper brings in the morning; null: none. */
  readonly refillGrams: number | null;
  readonly random: RandomSource;
}

export interface DayEvent {
  readonly at: Instant;
  readonly content: Readonly<Record<string, unknown>> & { readonly kind: string };
  /** Index of the event of this day that a portion pays; null: none. */
  readonly pays: number | null;
}

export interface ProgrammeDay {
  readonly events: readonly DayEvent[]; // in order of time
  readonly paid: number;
  readonly unpaid: number;
  readonly portions: number; // that fell
}

/** On a fair day of ten hours. */
const boutsADay = 26;
const piecesAPortion = 18;

export function programmeDay(input: ProgrammeDayInput): ProgrammeDay {
  const found: Draft[] = [...refillOf(input), ...freeFoodOf(input), ...boutsOf(input)];
  const drafts = found.sort((a, b) => a.at - b.at);
  const index = new Map(drafts.map((draft, at) => [draft, at]));
  const portions = drafts.filter(({ content }) => content.kind === "portion");
  const isPaid = input.mishap === "none";
  const taught = actOf(input.stage.kind) === "freeFood" ? portions : portions.filter(({ pays }) => pays !== null);
  return {
    events: drafts.map(({ at, content, pays }) => ({ at, content, pays: pays && (index.get(pays) ?? null) })),
    paid: isPaid ? taught.length : 0,
    unpaid: isPaid ? 0 : taught.length,
    portions: isPaid ? portions.length : 0,
  };
}

interface Draft {
  readonly at: Instant;
  readonly content: DayEvent["content"];
  readonly pays: Draft | null;
}

const draft = (at: Instant, content: DayEvent["content"], pays: Draft | null = null): Draft => ({
  at: Math.round(at) as Instant,
  content,
  pays,
});

/** The keeper comes at dawn, before the birds. */
const refillOf = ({ lit, refillGrams }: ProgrammeDayInput): readonly Draft[] =>
  refillGrams === null
    ? []
    : [
        draft(lit.from, { kind: "lid", open: true }),
        draft(after(lit.from, seconds(40)), { kind: "refill", grams: refillGrams, full: true }),
        draft(after(lit.from, seconds(60)), { kind: "lid", open: false }),
      ];

function portion(at: Instant, cause: string, pays: Draft | null, { mishap, random }: ProgrammeDayInput): Draft {
  const pieces = mishap === "none" ? Math.max(8, Math.round(random.normal(piecesAPortion, 2))) : 0;
  const meanMilliamps = Math.round(random.normal(mishap === "trayFrozen" ? 310 : 250, 6));
  const run = { motorMs: 1_200, meanMilliamps, peakMilliamps: meanMilliamps + 60, chuteCount: pieces };
  return draft(at, { kind: "portion", cause, ...run }, pays);
}

function freeFoodOf(input: ProgrammeDayInput): readonly Draft[] {
  const { lit, stage, random, birds } = input;
  const { free } = stage.earns;
  const found: Draft[] = [];
  if (free === null) return found;
  let at = after(lit.from, minutes(30));
  for (;;) {
    at = after(at, (free.mean * random.between(0.8, 1.2)) as Span);
    if (at > lit.to - minutes(35)) return found;
    found.push(portion(at, "timer", null, input));
    // Birds near by hear it fall, once they know what it means.
    if (stage.kind === "comeForFood" && random.isTrueWith(birds.strength.comeForFood))
      found.push(...visitsAt(after(at, minutes(random.between(1, 14))), random));
  }
}

const visitsAt = (at: Instant, random: RandomSource): readonly Draft[] =>
  Array.from({ length: 1 + Math.floor(random.between(0, 3)) }, (_, index) =>
    draft(after(at, seconds(index * random.between(8, 25))), { kind: "visit" }),
  );

/** Birds that come by themselves: few before they know the place. */
function boutsOf(input: ProgrammeDayInput): readonly Draft[] {
  const { lit, stage, birds, weather, random } = input;
  const known = stage.kind === "comeForFood" ? 0.18 : birds.strength.comeForFood;
  const mean = boutsADay * known * weather.visits * (inHours((lit.to - lit.from) as Span) / 10) ** 0.5;
  const count = Math.max(4, Math.round(random.normal(mean, Math.sqrt(mean))));
  return Array.from({ length: count }, () => {
    const at = after(lit.from, minutes(5));
    return boutAt((at + random.uniform() * (lit.to - at - minutes(10))) as Instant, input);
  }).flat();
}

function boutAt(at: Instant, input: ProgrammeDayInput): readonly Draft[] {
  const { stage, birds, random } = input;
  const found: Draft[] = [...visitsAt(at, random)];
  const act = actOf(stage.kind);
  if (act === "freeFood") return found;
  if (random.isTrueWith(birds.strength[stage.kind])) {
    const acts = 1 + Math.floor(random.exponential(0.8));
    for (let each = 0; each < Math.min(acts, 4); each += 1)
      found.push(...actAt(after(at, seconds(30 + each * random.between(25, 40))), act, input));
  }
  // What earned food before is still tried now and then.
  if (act === "deposit" && random.isTrueWith(0.25))
    found.push(draft(after(at, seconds(12)), { kind: "press", earns: false }));
  return found;
}

function actAt(at: Instant, act: "press" | "deposit", input: ProgrammeDayInput): readonly Draft[] {
  const signal = Math.round(100 * input.random.between(0.7, 0.9)) / 100;
  const done = draft(
    at,
    act === "press"
      ? { kind: "press", earns: true }
      : { kind: "deposit", metal: true, signal, chute: true, earns: true },
  );
  return [done, portion(after(done.at, seconds(1)), act, done, input)];
}
