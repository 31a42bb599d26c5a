/**
 * JSON as feeders write it. Python's `json.dumps` and C's `printf` put bare NaN or infinity where a sensor gave no number, and
 * JSON (RFC 8259) has neither, so one bad reading would make the whole report unreadable.
 */
export type ParsedReport =
  | {
      readonly kind: "parsed";
      readonly value: unknown;
      readonly bareNumbers: readonly BareNumber[];
      readonly json: string | null; // the text; null where it holds a bare number, and so is no JSON
    }
  | { readonly kind: "notJson"; readonly problem: string };

/** A bare NaN or infinity within `events`, replaced by null. */
export interface BareNumber {
  readonly path: readonly (string | number)[];
  readonly token: string;
}

/**
 * Text that is JSON is read as JSON and as nothing else. Otherwise bare NaN and infinity outside of strings are replaced: by null in
 * events, and by their own text elsewhere. Among the readings the text makes that reading a rejected one, here and in a replay.
 * A `sentUptimeMs` of null has a meaning of its own, so null can't replace a number there.
 */
export function parseReport(text: string): ParsedReport {
  try {
    return { kind: "parsed", value: parse(text), bareNumbers: [], json: text };
  } catch (error) {
    return replaceBareNumbers(text) ?? { kind: "notJson", problem: problemOf(error) };
  }
}

const problemOf = (error: unknown): string => `is not JSON: ${(error as Error).message.slice(0, 200)}`;

/** A name that reaches into JavaScript's own objects is refused. Searched for only in text that can hold it, also as \u005f. */
const parse = (text: string): unknown =>
  text.includes("__proto__") || text.includes("\\u") ? JSON.parse(text, withoutPrototype) : JSON.parse(text);

function withoutPrototype(key: string, value: unknown): unknown {
  if (key === "__proto__") throw new SyntaxError("the name __proto__ is not allowed");
  return value;
}

/** Strings are matched first and left alone, so that the content of a string is never taken for a number. */
const stringOrBareNumber =
  /"(?:[^"\\]|\\[\s\S])*"|(?<![A-Za-z0-9_.])[-+]?(?:nan(?:\(ind\))?|inf(?:inity)?)(?![A-Za-z0-9_(])/gi;

function replaceBareNumbers(text: string): ParsedReport | null {
  let mark = "bare number ";
  while (text.includes(mark)) mark += "~";
  const marked = text.replace(stringOrBareNumber, (token) =>
    token.startsWith('"') ? token : JSON.stringify(mark + token),
  );
  if (marked === text) return null;
  try {
    return restoreBareNumbers(parse(marked), mark);
  } catch {
    return null; // the problem of the original text is of more use
  }
}

interface ValuePlace {
  readonly holder: Record<string | number, unknown>;
  readonly key: string | number;
  readonly path: readonly (string | number)[];
}

function restoreBareNumbers(value: unknown, mark: string): ParsedReport | null {
  const bareNumbers: BareNumber[] = [];
  const root = { whole: value };
  for (const { holder, key, path } of valuePlaces(root)) {
    if (typeof key === "string" && key.startsWith(mark)) return null; // a bare number in the place of a name
    const text = holder[key];
    if (typeof text !== "string" || !text.startsWith(mark)) continue;
    const token = text.slice(mark.length);
    const inEvents = path[0] === "events" && path.length > 2;
    holder[key] = inEvents ? null : token;
    if (inEvents) bareNumbers.push({ path, token });
  }
  return { kind: "parsed", value: root.whole, bareNumbers, json: null };
}

/** Every value in the whole. Without recursion: text may nest deeper than the stack is high. */
function* valuePlaces(root: { readonly whole: unknown }): Generator<ValuePlace> {
  const waiting: ValuePlace[] = [{ holder: root, key: "whole", path: [] }];
  for (let place = waiting.pop(); place !== undefined; place = waiting.pop()) {
    yield place;
    const { path } = place;
    const value = place.holder[place.key];
    if (typeof value !== "object" || value === null) continue;
    const holder = value as Record<string | number, unknown>;
    for (const name of Object.keys(holder)) {
      const key = Array.isArray(value) ? Number(name) : name;
      waiting.push({ holder, key, path: path.length < pathMax ? [...path, key] : path });
    }
  }
}

/** Nothing that Pieward reads lies deeper. */
const pathMax = 6;
