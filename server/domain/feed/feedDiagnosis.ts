import type { Instant } from "../instant.ts";
import type { Cause, CauseProbability } from "./causeProbabilities.ts";
import type { Hypothesis } from "./faultSignatures.ts";
import { updateSequentialTest, waldBounds } from "./sequentialTest.ts";

/**
 * That something is wrong with the feed, from the portion that proved it until food is seen to fall again. Which it is may
 * be clear at once or only later: the name sharpens while the verdict stands.
 */
export interface FeedDiagnosis {
  readonly since: Instant;
  readonly portionsSince: number; // given since
  readonly healthEvidence: number; // evidence for health since the last that spoke for the fault; at most 0
  readonly cause: Cause | null; // the last name that was sure
  readonly hypothesis: Hypothesis; // what was foremost when the last portion spoke for it
}

/**
 * As sure as a name must be: the rest of the time it is wrong, and one in twenty is the most that is wanted. While a portion or
 * two more may settle it (`settles`) it must be surer, since a wrong name sends the keeper out with the wrong tool.
 */
const sureProbability = 0.92;
const sureAtOnceProbability = 0.98;
export const settlingPortions = 1; // portions

/** A name that was sure once stays until it has become unlikely: words that change with each portion help nobody. */
const dropProbability = 0.25;
/**
 * To call a sensor blind takes the urgency out of an alarm. By the motor's current alone, whose lesson about wedged
 * trays is only common practice, that takes more.
 */
const sureByCurrentAlone = 0.995;

export function sureCause(likely: readonly CauseProbability[], verdict: FeedDiagnosis, scale: boolean): Cause | null {
  const [first] = likely;
  if (first === undefined) return null;
  // Food that begins to fall again fits none of the faults well: what was wrong keeps its name until it is over, or the keeper
  // who has just mended a jam would be rung for "no food falls".
  if (verdict.healthEvidence < 0 && verdict.cause !== null) return verdict.cause;
  // A sensor that misses many and one that misses all are one fault to the keeper.
  const chance = isChuteCause(first.cause) ? totalProbability(likely, isChuteCause) : first.probability;
  const sure =
    isChuteCause(first.cause) && !scale
      ? sureByCurrentAlone
      : verdict.portionsSince < settlingPortions
        ? sureAtOnceProbability
        : sureProbability;
  if (chance >= sure) return first.cause;
  const kept = likely.find(({ cause }) => cause === verdict.cause);
  return kept !== undefined && kept.probability >= dropProbability ? kept.cause : null;
}

const isChuteCause = (name: Cause): boolean => name === "chuteBlind" || name === "chuteHalfBlind";

/** How likely it is any of those that fit. */
export const totalProbability = (likely: readonly CauseProbability[], fits: (name: Cause) => boolean): number =>
  likely.reduce((sum, { cause, probability }) => (fits(cause) ? sum + probability : sum), 0);

/**
 * Food that falls is believed after two portions, as a fault is after two or three: one kernel shaken loose is no repair. By
 * the scale alone it takes three readings, since a gust lasts for more than one. That health is taken for granted again is a
 * sequential test of its own: of what is still broken it may call one in 400 well.
 */
const bounds = waldBounds({ falseAlarm: 1e-5, missed: 0.0025 });
const portionStepMax = 4;
const readingStepMax = 2.5;

/**
 * The newest portion or reading changed the foremost suspect's sum by `step`. What it says is held against that one
 * suspect until it is cleared or confirmed: what else a fault has dragged along must not outlive it. Null: it is cleared.
 */
export function updateDiagnosis(
  verdict: FeedDiagnosis,
  step: number,
  first: Hypothesis,
  by: "portion" | "reading",
): FeedDiagnosis | null {
  const bounded = Math.max(step, by === "portion" ? -portionStepMax : -readingStepMax);
  const test = updateSequentialTest({ decision: "faulty", evidence: verdict.healthEvidence }, bounded, bounds);
  if (test.decision === "healthy") return null;
  const against = test.evidence;
  return { ...verdict, healthEvidence: against, hypothesis: against === 0 ? first : verdict.hypothesis };
}
