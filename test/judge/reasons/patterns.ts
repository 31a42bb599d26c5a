/** A text of the server's catalogue, turned round: from a sentence back to the values that it was made of. */

export type CatalogueText = string | ((...values: never[]) => string);

/** @returns the text's values where `sentence` begins with it, and the rest; null where it doesn't. */
export function readText(
  text: CatalogueText,
  sentence: string,
): { readonly values: readonly string[]; readonly rest: string } | null {
  const match = patternOf(text, "begin").exec(sentence);
  return match === null ? null : { values: match.slice(1), rest: sentence.slice(match[0].length) };
}

/** The values where the text is all of `words`. */
export const readWholeText = (text: CatalogueText, words: string): readonly string[] | null =>
  patternOf(text, "whole").exec(words)?.slice(1) ?? null;

const known = { begin: new Map<CatalogueText, RegExp>(), whole: new Map<CatalogueText, RegExp>() };

function patternOf(text: CatalogueText, part: "begin" | "whole"): RegExp {
  const before = known[part].get(text);
  if (before !== undefined) return before;
  const source = typeof text === "string" ? escaped(text) : withGroups(text);
  const pattern = new RegExp(part === "whole" ? `^${source}$` : `^${source}(?: |$)`);
  known[part].set(text, pattern);
  return pattern;
}

/** A value never holds the end of a sentence. */
const value = "((?:(?!\\. ).)+?)";

function withGroups(text: (...values: never[]) => string): string {
  const marks = Array.from({ length: text.length }, (_, index) => `<${index}>`);
  return escaped(text(...(marks as never[]))).replace(/<\d>/g, value);
}

const escaped = (text: string): string => text.replace(/[.*+?^${}()|[\]\\]/g, "\\$&");

/** "−3 °C", "570 mA", "1.2 kg" (in grams), "69". */
export function numberOf(text: string): number {
  const number = Number(/^[−-]?\d+(\.\d+)?/.exec(text)?.[0].replace("−", "-"));
  if (Number.isNaN(number)) throw new RangeError(`expected a number, got "${text}"`);
  return text.endsWith(" kg") ? 1_000 * number : number;
}

const unitMilliseconds = { second: 1_000, minute: 60_000, hour: 3_600_000, day: 86_400_000 };

/** "3 hours", "every 5 minutes", "every minute": milliseconds. */
export function spanOf(text: string): number {
  const match = /^(?:every )?(?:(\d+) )?(second|minute|hour|day)s?$/.exec(text);
  if (match === null) throw new RangeError(`expected a span, got "${text}"`);
  return Number(match[1] ?? 1) * unitMilliseconds[match[2] as keyof typeof unitMilliseconds];
}
