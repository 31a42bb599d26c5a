/** Amounts of food, said before they are counted. */

/** "620 g", "1.25 kg", "2 kg" */
export const massText = (grams: number) =>
  grams < 999.5 ? `${Math.round(grams)} g` : `${Number((grams / 1000).toFixed(grams < 9_950 ? 2 : 1))} kg`;

/**
 * What is in the hopper, no finer than it is known: to the coarsest step of about a tenth of its interval, and to 10 g where
 * it is said in kilograms. The interval is rounded outwards, so that it never promises more than the server said.
 */
export function levelText(level: { readonly grams: number; readonly low: number; readonly high: number }) {
  const tenth = (level.high - level.low) / 10;
  const finest = level.high < 1000 ? 1 : 10;
  const fit = [100, 50, 10, 5].find((step) => step <= tenth && step >= finest) ?? finest;
  return {
    about: massText(Math.round(level.grams / fit) * fit),
    low: massText(Math.floor(level.low / fit) * fit),
    high: massText(Math.ceil(level.high / fit) * fit),
  };
}

/** "about half full": an eye's estimate, since the interval is seldom narrower than an eighth. */
export function fullnessText(share: number): string {
  if (share < 0.02) return "empty";
  if (share < 0.09) return "nearly empty";
  if (share < 0.19) return "about an eighth full";
  if (share < 0.29) return "about a quarter full";
  if (share < 0.42) return "about a third full";
  if (share < 0.58) return "about half full";
  if (share < 0.71) return "about two thirds full";
  if (share < 0.83) return "about three quarters full";
  if (share < 0.95) return "nearly full";
  return "full";
}

export const capitalize = (words: string) => words.charAt(0).toUpperCase() + words.slice(1);
/** A whole sentence, with its end. */
export const toSentence = (words: string) => capitalize(/[.!?…]$/.test(words) ? words : `${words}.`);

/** "enough until Thursday, 80 % sure" is one big thing and one small thing. */
export function splitHeadline(words: string): { readonly headline: string; readonly detail: string | null } {
  const pause = words.search(/[,:] /);
  if (pause < 0) return { headline: capitalize(words), detail: null };
  return { headline: capitalize(words.slice(0, pause)), detail: capitalize(words.slice(pause + 2)) };
}
