import { envelopeSchema, eventSchemas, readingsSchema } from "./report.ts";

/** Names in a report that this version doesn't know: otherwise a misspelt one would be lost unnoticed. */

const unknownMax = 20;
const nameMax = 60;

const envelopeNames: ReadonlySet<string> = new Set([...Object.keys(envelopeSchema.shape), "feeder"]);
const readingNames: ReadonlySet<string> = new Set(Object.keys(readingsSchema.shape));
const countNames: ReadonlySet<string> = new Set(Object.keys(readingsSchema.shape.counts.unwrap().unwrap().shape));
const eventNames: ReadonlyMap<string, ReadonlySet<string>> = new Map(
  Object.entries(eventSchemas).map(([kind, schema]) => [kind, new Set(Object.keys(schema.shape))]),
);

/** Of the readings and counts, such as `hoperGrams` and `counts.buton`, at most twenty, each cut to sixty characters. */
export function unknownReadings(readings: object): readonly string[] {
  const { counts } = readings as { counts?: unknown };
  return [
    ...namesOutside(readings, readingNames),
    ...(isObject(counts) ? namesOutside(counts, countNames).map((name) => cutName(`counts.${name}`)) : []),
  ].slice(0, unknownMax);
}

/**
 * Of the whole report by their paths, at most twenty, each cut to sixty characters. Of events the first that has such a field.
 * @param events in which there may be one, with their places
 */
export function unknownNames(
  posted: object,
  readings: readonly string[],
  events: readonly (readonly [index: number, event: unknown])[],
): readonly string[] {
  const found = [...namesOutside(posted, envelopeNames), ...readings.map((name) => cutName(`readings.${name}`))];
  const seen = new Set<string>();
  for (const [index, event] of events) {
    if (found.length >= unknownMax) break;
    if (!isObject(event)) continue;
    const { kind } = event as { kind?: unknown };
    const known = typeof kind === "string" ? eventNames.get(kind) : undefined;
    const beyond = known === undefined ? ["kind"] : namesOutside(event, known);
    for (const name of beyond) {
      const once = `${typeof kind === "string" ? kind : ""} ${name}`; // any other kind is refused, and may not even be made text
      if (!seen.has(once)) found.push(cutName(`events[${index}].${name}`));
      seen.add(once);
    }
  }
  return found.slice(0, unknownMax);
}

function namesOutside(request: object, known: ReadonlySet<string>): readonly string[] {
  const beyond: string[] = [];
  for (const name in request) {
    if (known.has(name)) continue;
    beyond.push(cutName(name));
    if (beyond.length === unknownMax) break;
  }
  return beyond;
}

/** The known reading that is nearest to a misspelt one; null where none is near. */
export function suggestedReading(name: string): string | null {
  const known = [...readingNames, ...[...countNames].map((count) => `counts.${count}`)];
  const near = known
    .map((each) => ({ each, off: editDistance(name.toLowerCase(), each.toLowerCase()) }))
    .sort((a, b) => a.off - b.off)[0];
  return near !== undefined && near.off <= 2 ? near.each : null;
}

/** Characters to insert, remove or change (Levenshtein 1966). Both texts are short. */
function editDistance(a: string, b: string): number {
  let row = Array.from({ length: b.length + 1 }, (_, index) => index);
  for (let i = 1; i <= a.length; i += 1) {
    const next = [i];
    for (let j = 1; j <= b.length; j += 1) {
      const changed = (row[j - 1] ?? 0) + (a[i - 1] === b[j - 1] ? 0 : 1);
      next.push(Math.min(changed, (row[j] ?? 0) + 1, (next[j - 1] ?? 0) + 1));
    }
    row = next;
  }
  return row[b.length] ?? 0;
}

const cutName = (name: string): string => (name.length <= nameMax ? name : `${name.slice(0, nameMax - 1)}…`);
const isObject = (value: unknown): value is object =>
  typeof value === "object" && value !== null && !Array.isArray(value);
