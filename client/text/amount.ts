import { fullnessTexts, gramsText, kilogramsText } from "#text/amount.ts";
import { numberText } from "./format.ts";

/** Amounts of food as text. */

/** "620 g", "1.25 kg", "2 kg" */
export const massText = (grams: number) =>
  grams < 999.5 ? gramsText(numberText(grams)) : kilogramsText(numberText(grams / 1000, grams < 9_950 ? 2 : 1));

/**
 * What is in the hopper, only as exact as it is known: to the coarsest step of about a tenth of its interval, and to 10 g
 * where it is given in kilograms. The interval is rounded outwards, so that it never promises more than the server does.
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

const fullnessLimits = [0.02, 0.09, 0.19, 0.29, 0.42, 0.58, 0.71, 0.83, 0.95];

/** "about half full": an eye's estimate, since the interval is seldom narrower than an eighth. */
export const fullnessText = (share: number): string =>
  fullnessTexts[fullnessLimits.filter((limit) => share >= limit).length] ?? "";

export const capitalize = (text: string) => text.charAt(0).toUpperCase() + text.slice(1);
export const uncapitalize = (text: string) => text.charAt(0).toLowerCase() + text.slice(1);
/** A whole sentence, with its end. */
export const toSentence = (text: string) => capitalize(/[.!?…]$/.test(text) ? text : `${text}.`);

/** "very likely enough until Thursday, about 620 g" is a headline and a detail. */
export function splitHeadline(text: string): { readonly headline: string; readonly detail: string | null } {
  const pause = text.search(/[,:] /);
  if (pause < 0) return { headline: capitalize(text), detail: null };
  return { headline: capitalize(text.slice(0, pause)), detail: capitalize(text.slice(pause + 2)) };
}
