/** The texts of a report's events and readings as they were sent, so that they can be stored without being written anew. */
export interface SentTexts {
  readonly events: string | null; // null where the report has no such member
  readonly readings: string | null;
}

/** Of two members with one name the last counts, as in JSON.parse. @param json a text that JSON.parse has read */
export function sentTexts(json: string): SentTexts {
  return (json.includes("\\") ? null : findMembers(json, true)) ?? findMembers(json, false) ?? noTexts;
}

export const noTexts: SentTexts = { events: null, readings: null };

/**
 * Events are nearly the whole text, so a guess skips them: they end at the first `]`. In a text without escapes a wrong guess,
 * within a string or a list in the list, leaves an odd number of quotes or a bracket too many behind it, and no end is found.
 * No second guess undoes it: from a wrong one within a string on, names are what stands between two strings, never "events".
 * @returns null where the text doesn't end as an object with members does
 */
function findMembers(json: string, isGuessing: boolean): SentTexts | null {
  const found: { events: string | null; readings: string | null } = { ...noTexts };
  let at = skipSpace(json, 0);
  if (json.charCodeAt(at) !== openBrace) return null;
  do {
    const member = memberBehind(json, at, isGuessing);
    if (member === null) return null;
    const { name, start, end } = member;
    if (name === "events" || name === "readings") found[name] = json.slice(start, end);
    at = skipSpace(json, end);
  } while (json.charCodeAt(at) === comma);
  const isEnd = json.charCodeAt(at) === closeBrace && skipSpace(json, at + 1) === json.length;
  return isEnd ? found : null;
}

interface Member {
  readonly name: unknown;
  readonly start: number; // of its value
  readonly end: number;
}

/** @param at the place of the comma or brace before the member */
function memberBehind(json: string, at: number, isGuessing: boolean): Member | null {
  const nameStart = skipSpace(json, at + 1);
  if (json.charCodeAt(nameStart) !== quote) return null;
  const nameEnd = stringEnd(json, nameStart);
  const name = memberName(json.slice(nameStart, nameEnd));
  const start = skipSpace(json, skipSpace(json, nameEnd) + 1); // behind the colon
  const isGuess = isGuessing && name === "events" && json.charCodeAt(start) === openBracket;
  const end = isGuess ? json.indexOf("]", start) + 1 : valueEnd(json, start);
  return end > start ? { name, start, end } : null;
}

/** A name may be written with escapes. */
const memberName = (text: string): unknown => (text.includes("\\") ? JSON.parse(text) : text.slice(1, -1));

// --- steps over the text: each returns the place behind what it steps over, and at the text's end that end -------------

const [space, tab, lineFeed, carriageReturn] = [0x20, 0x09, 0x0a, 0x0d];
const [quote, backslash, comma] = [0x22, 0x5c, 0x2c];
const [openBracket, closeBracket, openBrace, closeBrace] = [0x5b, 0x5d, 0x7b, 0x7d];

function skipSpace(json: string, from: number): number {
  let at = from;
  while (at < json.length && isSpace(json.charCodeAt(at))) at += 1;
  return at;
}

const isSpace = (code: number): boolean =>
  code === space || code === lineFeed || code === carriageReturn || code === tab;

function valueEnd(json: string, start: number): number {
  const first = json.charCodeAt(start);
  if (first === quote) return stringEnd(json, start);
  return first === openBracket || first === openBrace ? nestedEnd(json, start) : plainEnd(json, start);
}

/** @param start the place of the opening quote */
function stringEnd(json: string, start: number): number {
  for (let at = start + 1; at < json.length; at += 1) {
    const code = json.charCodeAt(at);
    if (code === quote) return at + 1;
    if (code === backslash) at += 1;
  }
  return json.length;
}

/** By counting, without recursion: text may nest deeper than the stack is high. */
function nestedEnd(json: string, start: number): number {
  let depth = 0;
  for (let at = start; at < json.length; at += 1) {
    const code = json.charCodeAt(at);
    if (code === quote) at = stringEnd(json, at) - 1;
    else if (code === openBracket || code === openBrace) depth += 1;
    else if (code === closeBracket || code === closeBrace) {
      depth -= 1;
      if (depth === 0) return at + 1;
    }
  }
  return json.length;
}

/** Of a number, true, false or null. It steps over no quote and no bracket. */
function plainEnd(json: string, start: number): number {
  let at = start;
  while (at < json.length && isPlain(json.charCodeAt(at))) at += 1;
  return at;
}

const isPlain = (code: number): boolean =>
  (code >= 0x30 && code <= 0x39) ||
  (code >= 0x61 && code <= 0x7a) ||
  code === 0x2d ||
  code === 0x2b ||
  code === 0x2e ||
  code === 0x45;
