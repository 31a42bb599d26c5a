/** Amounts of food, said before they are counted. */

/** "620 g", "1.4 kg" */
export const massWords = (grams: number) =>
  grams < 1000 ? `${Math.round(grams)} g` : `${(grams / 1000).toFixed(grams < 9_950 ? 1 : 0)} kg`;

/** "about half full": an eye's estimate, since the interval is seldom narrower than an eighth. */
export function fullnessWords(share: number): string {
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

export const sentence = (words: string) => words.charAt(0).toUpperCase() + words.slice(1);

/** "enough until Thursday, 80 % sure" is one big thing and one small thing. */
export function bigAndSmall(words: string): { readonly big: string; readonly small: string | null } {
  const pause = words.search(/[,:] /);
  if (pause < 0) return { big: sentence(words), small: null };
  return { big: sentence(words.slice(0, pause)), small: sentence(words.slice(pause + 2)) };
}
