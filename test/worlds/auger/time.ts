/** Times inside this world are milliseconds since 1970, as plain numbers; spans are milliseconds. */
export const second = 1_000;
export const minute = 60_000;
export const hour = 3_600_000;
export const day = 86_400_000;

/** UTC midnight before it. At this place the whole of a day's light lies between two of them. */
export const dayBegin = (at: number): number => Math.floor(at / day) * day;

/** The share of the way to its goal that a first-order lag makes in a time: 1 - exp(-x), nearly, without the exponential. */
export const lagShare = (span: number, timeConstant: number): number => {
  const x = span / timeConstant;
  return x / (1 + x);
};
