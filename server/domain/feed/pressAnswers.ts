import { movingMean } from "../movingMean.ts";
import { upperLimitOfShare } from "./emptyPortions.ts";

/** How often this feeder answers a press with a portion. */
export interface PressAnswers {
  readonly pressesJudged: number; // learnt from, at most `pressesRememberedMax`
  readonly pressesAnsweredShare: number; // share, exponentially forgotten
  readonly pressesUnanswered: number; // in a row, up to now; not learnt from before it ends
}

export const initialPressAnswers: PressAnswers = { pressesJudged: 0, pressesAnsweredShare: 0, pressesUnanswered: 0 };

const pressesJudgedMin = 10;
const pressesAnsweredMin = 0.9;
const pressesRememberedMax = 60;
/** Presses that stay without answer for longer than this were meant to: a stage of training is over. Our choice. */
const unansweredLearntMin = 10;
/**
 * Programs answer a press most of the time, and some every time: as with empty portions, so many in a row are a fault as this feeder's own
 * record makes likely once a year at most, of twenty presses a day.
 */
const unansweredEvidenceMin = Math.log(365 * 20);

/** Whether this feeder's own record shows that it answers presses, nearly all of them. */
export const answersPresses = ({ pressesJudged, pressesAnsweredShare }: PressAnswers): boolean =>
  pressesJudged >= pressesJudgedMin && pressesAnsweredShare >= pressesAnsweredMin;

/** Whether presses without answer, so many in a row, are a fault where `payments` is what was usual before. Null: it was answered, by an empty portion. */
export function isUnusualWithoutAnswer(answers: PressAnswers, inARow: number | null): boolean {
  if (!answersPresses(answers)) return false;
  const { pressesJudged, pressesAnsweredShare } = answers;
  const unansweredShare = upperLimitOfShare({ share: 1 - pressesAnsweredShare, portions: pressesJudged });
  return inARow === null || -inARow * Math.log(unansweredShare) >= unansweredEvidenceMin;
}

/** A row of presses without answer is learnt once it ends, since until then it may be a fault, or once it is plain that it is meant. */
export function countPress<Answers extends PressAnswers>(before: Answers, answered: boolean): Answers {
  const inARow = answered ? 0 : before.pressesUnanswered + 1;
  const learnt = answered
    ? Math.min(before.pressesUnanswered, unansweredLearntMin)
    : inARow > unansweredLearntMin
      ? 1
      : 0;
  let updated = { ...before, pressesUnanswered: inARow };
  for (let miss = 0; miss < learnt; miss += 1) updated = learnPress(updated, false);
  return answered ? learnPress(updated, true) : updated;
}

function learnPress<Answers extends PressAnswers>(before: Answers, answered: boolean): Answers {
  const pressesJudged = Math.min(before.pressesJudged + 1, pressesRememberedMax);
  const share = movingMean(before.pressesAnsweredShare, answered ? 1 : 0, 1 / pressesJudged);
  return { ...before, pressesJudged, pressesAnsweredShare: share };
}
