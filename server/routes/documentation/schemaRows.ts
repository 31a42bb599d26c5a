/** A JSON Schema as the OpenAPI document holds it, as far as ours use it. */
export interface JsonSchema {
  readonly title?: string;
  readonly type?: string | readonly string[];
  readonly description?: string;
  readonly properties?: Readonly<Record<string, JsonSchema>>;
  readonly required?: readonly string[];
  readonly additionalProperties?: boolean | JsonSchema;
  readonly items?: JsonSchema;
  readonly anyOf?: readonly JsonSchema[];
  readonly oneOf?: readonly JsonSchema[];
  readonly const?: unknown;
  readonly enum?: readonly unknown[];
  readonly minimum?: number;
  readonly maximum?: number;
  readonly exclusiveMinimum?: number;
  readonly minLength?: number;
  readonly maxLength?: number;
  readonly maxItems?: number;
  readonly pattern?: string;
  readonly format?: string;
  readonly example?: unknown;
  readonly $ref?: string;
}

export interface SchemaRow {
  readonly path: string;
  readonly type: string;
  readonly unit: string; // "" where the name has none
  readonly range: string; // "" where any value goes
  readonly required: boolean;
  readonly description: string;
}

/**
 * A row for each field, the fields of an object inside another under its path: `counts.button`, `orders[].id`.
 * @param deep false: the outermost fields only
 */
export function schemaRows(schema: JsonSchema, deep = true, under = ""): SchemaRow[] {
  const { properties = {}, required = [] } = schema;
  return Object.entries(properties).flatMap(([name, field]) => {
    const path = `${under}${name}`;
    const bare = withoutNull(field);
    const row = {
      path,
      type: typeText(field),
      unit: unitOf(name),
      range: rangeText(bare),
      required: required.includes(name),
      description: field.description ?? bare.description ?? "",
    };
    if (!deep) return [row];
    const items = bare.items === undefined ? bare : withoutNull(bare.items);
    const inner = items === bare ? `${path}.` : `${path}[].`;
    return [row, ...alternatives(items).flatMap((one) => schemaRows(one, deep, inner))];
  });
}

/** The schema beside null; the schema itself where null isn't allowed. */
export function withoutNull(schema: JsonSchema): JsonSchema {
  const others = schema.anyOf?.filter(({ type }) => type !== "null") ?? [];
  return others.length === 1 && others[0] !== undefined ? others[0] : schema;
}

/** What a value may be, one by one: unions inside unions are taken apart. */
export function alternatives(schema: JsonSchema): readonly JsonSchema[] {
  const several = schema.oneOf ?? schema.anyOf;
  return several === undefined ? [schema] : several.flatMap(alternatives).filter(({ type }) => type !== "null");
}

function typeText(schema: JsonSchema): string {
  const union = schema.anyOf ?? schema.oneOf;
  if (union !== undefined) return unionText(union);
  if (schema.const !== undefined) return JSON.stringify(schema.const);
  if (schema.enum !== undefined) return schema.enum.map((value) => JSON.stringify(value)).join(", ");
  if (schema.type === undefined) return schema.properties === undefined ? "any value" : "object";
  if (typeof schema.type !== "string") return schema.type.join(" or ");
  if (schema.type === "array" && schema.items !== undefined) return `list of ${typeText(schema.items)}`;
  return typeNames[schema.type]?.(schema) ?? schema.type;
}

/** Names of types for readers who don't know JSON Schema's own. */
const typeNames: Readonly<Record<string, (schema: JsonSchema) => string | undefined>> = {
  array: () => "list",
  integer: () => "whole number",
  boolean: () => "true or false",
  string: ({ format = "" }) => stringFormats[format],
};

const stringFormats: Readonly<Record<string, string>> = { "date-time": "time (ISO 8601)", date: "date (ISO 8601)" };

/** Each type of a union once, null at the end. */
function unionText(union: readonly JsonSchema[]): string {
  const types = [...new Set(union.map(typeText))];
  return types.sort((a, b) => Number(a === "null") - Number(b === "null")).join(" or ");
}

function rangeText(schema: JsonSchema): string {
  const { minLength = 0, maxLength, maxItems, pattern, format } = schema;
  const numbers = numberRange(schema);
  if (numbers !== "") return numbers;
  if (maxItems !== undefined) return `at most ${numberText(maxItems)}`;
  if (maxLength !== undefined) return `${minLength} to ${numberText(maxLength)} characters`;
  return pattern !== undefined && format === undefined ? pattern : "";
}

/** Bounds that only state what a number can hold exactly (2^53 - 1) are none. */
function numberRange({
  minimum = Number.MIN_SAFE_INTEGER,
  maximum = Number.MAX_SAFE_INTEGER,
  exclusiveMinimum,
}: JsonSchema): string {
  const low = minimum > Number.MIN_SAFE_INTEGER ? numberText(minimum) : null;
  const high = maximum < Number.MAX_SAFE_INTEGER ? numberText(maximum) : null;
  if (exclusiveMinimum !== undefined) return `more than ${numberText(exclusiveMinimum)}${high ? `, to ${high}` : ""}`;
  if (low !== null && high !== null) return `${low} to ${high}`;
  if (low !== null) return `${low} or more`;
  return high === null ? "" : `${high} or less`;
}

const numberText = (value: number) => value.toLocaleString("en").replace("-", "−");

const units: readonly (readonly [RegExp, string])[] = [
  [/Grams$|^grams$/, "g"],
  [/Celsius$/, "°C"],
  [/Percent$/, "%"],
  [/Volts$/, "V"],
  [/Milliamps$/, "mA"],
  [/Dbm$/, "dBm"],
  [/Ms$/, "ms"],
  [/Seconds$/, "s"],
  [/Minutes$/, "min"],
  [/Days$/, "days"],
  [/Degrees$/, "°"],
];

/** The unit that a field's name ends in. */
const unitOf = (name: string): string => units.find(([ending]) => ending.test(name))?.[1] ?? "";
