import { newFeeder } from "./feeder.ts";
import { days, instant, seconds } from "./instant.ts";
import { grams } from "./units.ts";

/**
 * What is wrong with a stored state of the present version; null where nothing is. A step that reads a missing field throws, or
 * continues with no number (JSON has no NaN: it is stored as null), so a state is checked before anything uses it.
 * Every field of a new feeder's state must be there, as what it is there.
 */
export const stateProblem = (state: unknown): string | null => problemAt("state", state, example);

/** What may be left out, or be null, is left out or null here. */
const example: unknown = newFeeder(
  {
    name: "Rowan",
    practice: false,
    place: null,
    zone: "UTC",
    hopperCapacity: grams(1_000),
    portionMass: grams(1.5),
    sensors: { button: false, detector: false, chute: false, perch: false, scale: false },
    battery: "none",
    reportEvery: seconds(60),
    foodWarningAhead: days(1),
  },
  instant(0),
);

function problemAt(path: string, value: unknown, known: unknown): string | null {
  if (value === undefined) return `${path} is missing`;
  if (known === null) return null; // null for now: it may be anything later
  if (Array.isArray(known)) return listProblem(path, value, known);
  if (typeof known !== "object") return typeof value === typeof known ? null : wrongType(path, value, typeof known);
  if (typeof value !== "object" || value === null || Array.isArray(value)) return wrongType(path, value, "object");
  if (isOtherKind(value, known)) return null;
  for (const [name, knownPart] of Object.entries(known)) {
    const problem = problemAt(`${path}.${name}`, (value as Record<string, unknown>)[name], knownPart);
    if (problem !== null) return problem;
  }
  return null;
}

/** Lists of numbers have a fixed length; of others only that they are lists is known. */
function listProblem(path: string, value: unknown, known: readonly unknown[]): string | null {
  if (!Array.isArray(value)) return wrongType(path, value, "list");
  if (known.length === 0) return null;
  if (value.length !== known.length) return `${path} has ${value.length} entries, expected ${known.length}`;
  const wrongIndex = value.findIndex((entry, index) => typeof entry !== typeof known[index]);
  return wrongIndex === -1 ? null : wrongType(`${path}[${wrongIndex}]`, value[wrongIndex], typeof known[wrongIndex]);
}

const isOtherKind = (value: object, known: object): boolean =>
  "kind" in known && "kind" in value && typeof value.kind === "string" && value.kind !== known.kind;

const wrongType = (path: string, value: unknown, expected: string): string =>
  `${path} is ${value === null ? "null" : Array.isArray(value) ? "a list" : `a ${typeof value}`}, expected a ${expected}`;
