/** What no screen text may contain, and what a text claims. Written from the wording of the documentation, not of the code. */

const isoTime = /\b\d{4}-\d{2}-\d{2}T\d{2}:\d{2}/;
const hugeNumber = /\d{10,}/;
const noWords = /\b(undefined|null|NaN|Infinity)\b|\[object /;
/** Greek letters and names that belong to a method, not to a keeper: degrees and plus-minus are everyday signs. */
const statistic =
  /[\u0391-\u03a9\u03b1-\u03c9]|\bp\d{2}\b|\b(CUSUM|log[- ]likelihood|likelihood ratio|chi-squared|z-score|p-value|sigma|posterior)\b/i;

const forbidden: readonly (readonly [string, RegExp])[] = [
  ["a raw ISO time", isoTime],
  ["a number that nobody can mean", hugeNumber],
  ["a value of the program", noWords],
  ["the symbol or name of a statistic", statistic],
];

/** What is wrong with a text as such; empty where nothing is. */
export const textFlaws = (text: string): readonly string[] =>
  forbidden.filter(([, pattern]) => pattern.test(text)).map(([flaw]) => flaw);

/** Says that all is in order. */
export const claimsAllWell = (text: string): boolean =>
  /(^|[.:\n]\s*)(all|everything)( feeders| of them)?( is| are)? (well|fine|in order|OK)\b/i.test(text);
export const claimsWell = (text: string): boolean => /\b(well|OK):/i.test(text) || claimsAllWell(text);

const negated =
  /\b(no|none|nobody|cannot|not|n't|no longer|never|isn't|wasn't|un|until|once|though|although|while|asked to be|before)\b[^.:;,\n]{0,30}$/i;
const claimAt = (text: string, what: RegExp): number | null =>
  [...text.matchAll(what)].find(({ index }) => !negated.test(text.slice(0, index)))?.index ?? null;
const claims = (text: string, what: RegExp): boolean => claimAt(text, what) !== null;

/** Says that the feeder stands still, as a fact. */
export const claimsPaused = (text: string): boolean =>
  claims(text, /\b(is|stays|it is) paused\b/gi) ||
  claims(text, /\bpaused?( until [^.:;\n]{1,40})?:? ?\(?(it is )?confirmed\b/gi) ||
  claims(text, /(^|[.\n]\s*)paused\b(?! (asked|requested|overdue|feeder gives|but))/gi);

/**
 * Says that an order was confirmed and that this still holds; "confirmed: not yet" says that it wasn't, and "confirmed the pause
 * at 07:58, but it was feeding again" that it no longer holds.
 */
export const claimsConfirmed = (text: string): boolean => confirmedClaimAt(text) !== null;

/** Where the first such claim stands. */
export const confirmedClaimAt = (text: string): number | null =>
  claimAt(text, /\bconfirmed\b(?!: not yet| the pause( at [^.]{1,30}?)?,? but )/gi);

/** Says that food is given as always. */
export const claimsFeeding = (text: string): boolean => claims(text, /\bfeed(s|ing) as usual\b/gi);

/** Says that a phone or a person can be notified. */
export const claimsReachable = (text: string): boolean =>
  claims(text, /\b(reachable|can be (reached|notified|told|woken))\b/gi);

/** Attributes something to the keeper. */
export const claimsKeeperSaid = (text: string): boolean => /\byou (said|entered)\b|\(entered\b/i.test(text);
