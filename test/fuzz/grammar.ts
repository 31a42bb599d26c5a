import fc from "fast-check";
import { z } from "zod";
import type { RandomSource } from "./randomSource.ts";

/** Values by the same schemas that the server reads with, as JSON Schema (draft 2020-12, as zod writes it). */

export interface Grammar {
  readonly type?: string;
  readonly const?: unknown;
  readonly enum?: readonly unknown[];
  readonly anyOf?: readonly Grammar[];
  readonly oneOf?: readonly Grammar[];
  readonly allOf?: readonly Grammar[];
  readonly pattern?: string;
  readonly format?: string;
  readonly minLength?: number;
  readonly maxLength?: number;
  readonly minimum?: number;
  readonly maximum?: number;
  readonly exclusiveMinimum?: number;
  readonly items?: Grammar;
  readonly maxItems?: number;
  readonly properties?: Readonly<Record<string, Grammar>>;
  readonly required?: readonly string[];
}

const known = new WeakMap<object, Grammar>();

/** Refinements can't be written as JSON Schema: some values that this makes are refused, which is an ordinary case. */
export function schemaGrammar(schema: unknown): Grammar | null {
  if (!(schema instanceof z.core.$ZodType)) return null;
  const found = known.get(schema) ?? (z.toJSONSchema(schema, { io: "input", unrepresentable: "any" }) as Grammar);
  known.set(schema, found);
  return found;
}

const moments = [
  "2026-01-15T09:00:00Z",
  "2026-01-15T09:30:00+02:00",
  "2026-01-15T23:59:59.999Z",
  "2026-01-16T09:00:00Z",
  "2025-12-31T00:00:00-11:00",
  "2024-02-29T12:00:00Z",
  "0001-01-01T00:00:00Z",
  "9999-12-31T23:59:59.999Z",
];
const texts = [
  "Rowan",
  "Larch",
  "seed",
  "a",
  "Ada",
  "ÅÄÖ",
  "日本",
  "🐦",
  "e\u0301",
  "\u202eabc",
  "a\u0000b",
  " ",
  "x".repeat(60),
];
const byFormat: Readonly<Record<string, readonly string[]>> = {
  "date-time": moments,
  date: ["2026-01-15", "2026-02-29", "0000-01-01", "9999-12-31"],
  uri: [
    "https://push.example/a",
    "https://push.example:99999/",
    "http://[::1]/",
    "data:,x",
    "https://push.example/%zz",
  ],
};

export function generateValue(grammar: Grammar, chance: RandomSource): unknown {
  const { anyOf, oneOf, allOf } = grammar;
  if (anyOf ?? oneOf) return generateValue(chance.oneOf(anyOf ?? oneOf ?? []), chance);
  if (allOf) return Object.assign({}, ...allOf.map((part) => generateValue(part, chance)));
  if ("const" in grammar) return grammar.const;
  if (grammar.enum) return chance.oneOf(grammar.enum);
  switch (grammar.type) {
    case "string":
      return textOf(grammar, chance);
    case "number":
    case "integer":
      return numberOf(grammar, chance);
    case "boolean":
      return chance.is(0.5);
    case "null":
      return null;
    case "array":
      return Array.from({ length: chance.whole(4) }, () => generateValue(grammar.items ?? {}, chance));
    case "object":
      return objectOf(grammar, chance);
    default:
      return chance.oneOf([null, 1, "text", {}, []]);
  }
}

function objectOf({ properties = {}, required = [] }: Grammar, chance: RandomSource): object {
  const named = Object.entries(properties).filter(([name]) => required.includes(name) || chance.is(0.6));
  return Object.fromEntries(named.map(([name, part]) => [name, generateValue(part, chance)]));
}

function numberOf({ type, minimum, maximum, exclusiveMinimum }: Grammar, chance: RandomSource): number {
  const [low, high] = [minimum ?? exclusiveMinimum ?? -1_000, maximum ?? 1_000_000];
  const among = low + (chance.whole(1_000_001) / 1_000_000) * (high - low);
  const number = chance.oneOf([low, high, among, among, among]);
  return type === "integer" ? Math.round(number) : number;
}

const samples = new Map<string, readonly string[]>();

function textOf({ pattern, format, minLength = 0, maxLength = 200 }: Grammar, chance: RandomSource): string {
  const ofFormat = format === undefined ? undefined : byFormat[format];
  if (ofFormat) return chance.oneOf(ofFormat);
  if (pattern !== undefined) {
    const made =
      samples.get(pattern) ?? fc.sample(fc.stringMatching(new RegExp(pattern, "u")), { numRuns: 40, seed: 1 });
    samples.set(pattern, made);
    return chance.oneOf(made);
  }
  const text = chance.oneOf(texts);
  return text.padEnd(minLength, "Alder Croft ").slice(0, maxLength);
}
