import type { Instant } from "../instant.ts";
import type { Cause, CauseProbability } from "./causeProbabilities.ts";
import type { Hypothesis } from "./faultSignatures.ts";
import { updateSequentialTest, waldBounds } from "./sequentialTest.ts";

/**
 * A fault of the feed, from the portion that proved it until food is seen to fall again. Its cause may be clear at once or
 * only later.
 */
export interface FeedDiagnosis {
  readonly since: Instant;
  readonly portionsSince: number; // given since
  readonly healthEvidence: number; // evidence for health since the last that spoke for the fault; at most 0
  readonly cause: Cause | null; // the last cause that was probable enough
  readonly hypothesis: Hypothesis; // the leading one at the last portion that spoke for a fault
}

/**
 * The probability that a cause must have to be named: at most one in twenty may be wrong. While one more portion may decide
 * (`settlingPortions`) it must be higher, since a wrong cause sends the keeper out with the wrong tool.
 */
const sureProbability = 0.92;
const sureAtOnceProbability = 0.98;
export const settlingPortions = 1; // portions

/** A named cause stays until it has become unlikely: a text that changes with each portion helps nobody. */
const dropProbability = 0.25;
/**
 * A blind sensor makes an alarm less urgent. By the motor's current alone, where jammed trays are known from common
 * practice only, that takes a higher probability.
 */
const sureByCurrentAlone = 0.995;

export function sureCause(
  probabilities: readonly CauseProbability[],
  diagnosis: FeedDiagnosis,
  scale: boolean,
): Cause | null {
  const [leading] = probabilities;
  if (leading === undefined) return null;
  // Food that begins to fall again fits no fault well: the cause stays until the fault is over, or a keeper who has just
  // repaired a jam would be notified of "no food falls".
  if (diagnosis.healthEvidence < 0 && diagnosis.cause !== null) return diagnosis.cause;
  const causeProbability = totalProbability(probabilities, isSameToKeeper(leading.cause));
  const sure =
    isChuteCause(leading.cause) && !scale
      ? sureByCurrentAlone
      : diagnosis.portionsSince < settlingPortions
        ? sureAtOnceProbability
        : sureProbability;
  if (causeProbability >= sure) return leading.cause;
  const previous = probabilities.find(({ cause }) => cause === diagnosis.cause);
  return previous !== undefined && previous.probability >= dropProbability ? previous.cause : null;
}

/** A sensor that misses many and one that misses all are one fault to the keeper, and so is a tray that lets nothing or little through. */
const isSameToKeeper =
  (one: Cause) =>
  (other: Cause): boolean =>
    other === one || [isChuteCause, isTrayCause].some((isOfPart) => isOfPart(one) && isOfPart(other));

const isChuteCause = (cause: Cause): boolean => cause === "chuteBlind" || cause === "chuteHalfBlind";
const isTrayCause = (cause: Cause): boolean => cause === "trayJammed" || cause === "trayPartlyJammed";

/** The probability of all causes that are included. */
export const totalProbability = (
  probabilities: readonly CauseProbability[],
  isIncluded: (cause: Cause) => boolean,
): number => probabilities.reduce((sum, { cause, probability }) => (isIncluded(cause) ? sum + probability : sum), 0);

/**
 * Falling food is accepted after two portions: one loose kernel is no repair. By the scale
 * alone it takes three readings, since a gust lasts for more than one. The return to health is a sequential test of its own:
 * it may accept one in 400 feeders that are still faulty.
 */
const healthBounds = waldBounds({ falseAlarm: 1e-5, missed: 0.0025 });
const portionStepMax = 4;
const readingStepMax = 2.5;

/**
 * The newest portion or reading changed the sum of the diagnosed hypothesis by `step`. It counts for that hypothesis until
 * it is cleared or confirmed: other sums that a fault has raised must not outlive it. Null: it is cleared.
 */
export function updateDiagnosis(
  diagnosis: FeedDiagnosis,
  step: number,
  leading: Hypothesis,
  by: "portion" | "reading",
): FeedDiagnosis | null {
  const bounded = Math.max(step, by === "portion" ? -portionStepMax : -readingStepMax);
  const test = updateSequentialTest({ decision: "faulty", evidence: diagnosis.healthEvidence }, bounded, healthBounds);
  if (test.decision === "healthy") return null;
  const healthEvidence = test.evidence;
  return { ...diagnosis, healthEvidence, hypothesis: healthEvidence === 0 ? leading : diagnosis.hypothesis };
}
