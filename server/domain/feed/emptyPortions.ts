/**
 * How often a portion looks empty on this feeder while nothing is wrong: a dispenser gives some empty ones by nature, also several in a
 * row, and a sensor misses some. It is learnt from the feeder's own portions, after food and after an empty one apart, since empty ones
 * come in runs. It limits what any sensors together may conclude from portions that gave nothing.
 */
export interface EmptyPortions {
  readonly afterFood: ShareLearnt;
  readonly afterEmpty: ShareLearnt;
}

/** A share of portions, with the number of portions that it was learnt from. */
interface ShareLearnt {
  readonly share: number;
  readonly portions: number; // at most `portionsRememberedMax`
}

/**
 * What is assumed of a new feeder, with the weight of so many portions: from a few in a thousand to a few in a hundred are empty, and
 * those that follow an empty one more often. Common practice, no source.
 */
export const initialEmptyPortions: EmptyPortions = {
  afterFood: { share: 0.03, portions: 100 },
  afterEmpty: { share: 0.15, portions: 30 },
};

const portionsRememberedMax = 500;
/** A longer run that ends by itself was a fault that ended by itself. Our choice. */
const runLearntMax = 10;

/** Food was seen to fall, after so many portions in a row that looked empty. */
export function learnEmptyRun(empty: EmptyPortions, run: number): EmptyPortions {
  if (run > runLearntMax) return empty;
  const afterFood = learnShare(empty.afterFood, run > 0 ? 1 : 0);
  if (run === 0) return { afterFood, afterEmpty: empty.afterEmpty };
  let { afterEmpty } = empty;
  for (let repeat = 1; repeat < run; repeat += 1) afterEmpty = learnShare(afterEmpty, 1);
  return { afterFood, afterEmpty: learnShare(afterEmpty, 0) };
}

function learnShare({ share, portions }: ShareLearnt, outcome: 0 | 1): ShareLearnt {
  const remembered = Math.min(portions + 1, portionsRememberedMax);
  return { share: share + (outcome - share) / remembered, portions: remembered };
}

/**
 * The highest probability that the feeder's record allows. With the learnt share itself the test would alarm several times too often:
 * where two in a hundred were seen and five are true, the bound of one false alarm a year becomes five.
 */
export const emptyShareLimit = ({ afterFood, afterEmpty }: EmptyPortions, isAfterEmpty: boolean): number =>
  upperLimitOfShare(isAfterEmpty ? afterEmpty : afterFood);

/** Score limit of a share (Wilson 1927, J. Am. Stat. Assoc. 22:209), 97.5 % on one side. */
export function upperLimitOfShare({ share, portions }: ShareLearnt): number {
  const z = 1.959964;
  const middle = share + (z * z) / (2 * portions);
  const reach = z * Math.sqrt((share * (1 - share)) / portions + (z * z) / (4 * portions * portions));
  return (middle + reach) / (1 + (z * z) / portions);
}

/**
 * The most that so many portions without food may say against this feeder, as a log likelihood ratio: they may all be empty by nature.
 * Chute sensor, scale and a motor that turns lightly see one and the same empty portion, and so don't add to each other.
 */
export function emptyRunEvidence(empty: EmptyPortions, portions: number): number {
  if (portions <= 0) return 0;
  return -Math.log(emptyShareLimit(empty, false)) - (portions - 1) * Math.log(emptyShareLimit(empty, true));
}
