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
  readonly unit: string; // "" where the name says none
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
      type: typeWords(field),
      unit: unitOf(name),
      range: rangeWords(bare),
      required: required.includes(name),
      description: field.description ?? bare.description ?? "",
    };
    if (!deep) return [row];
    const items = bare.items === undefined ? bare : withoutNull(bare.items);
    const inner = items === bare ? `${path}.` : `${path}[].`;
    return [row, ...alternatives(items).flatMap((one) => schemaRows(one, deep, inner))];
  });
}

/** The schema that stands beside null; the schema itself where null isn't allowed. */
export function withoutNull(schema: JsonSchema): JsonSchema {
  const others = schema.anyOf?.filter(({ type }) => type !== "null") ?? [];
  return others.length === 1 && others[0] !== undefined ? others[0] : schema;
}

/** What a value may be, one by one: unions inside unions are taken apart. */
export function alternatives(schema: JsonSchema): readonly JsonSchema[] {
  const several = schema.oneOf ?? schema.anyOf;
  return several === undefined ? [schema] : several.flatMap(alternatives).filter(({ type }) => type !== "null");
}

function typeWords(schema: JsonSchema): string {
  if (schema.anyOf ?? schema.oneOf) {
    const several = (schema.anyOf ?? schema.oneOf ?? []).map(typeWords);
    return [...new Set(several)].sort((a, b) => Number(a === "null") - Number(b === "null")).join(" or ");
  }
  if (schema.const !== undefined) return JSON.stringify(schema.const);
  if (schema.enum !== undefined) return schema.enum.map((value) => JSON.stringify(value)).join(", ");
  if (schema.type === "array") return schema.items === undefined ? "list" : `list of ${typeWords(schema.items)}`;
  if (schema.type === "integer") return "whole number";
  if (schema.type === "boolean") return "true or false";
  if (schema.type === "string" && schema.format === "date-time") return "time (ISO 8601)";
  if (schema.type === "string" && schema.format === "date") return "date (ISO 8601)";
  if (schema.type === undefined) return schema.properties === undefined ? "any value" : "object";
  return typeof schema.type === "string" ? schema.type : schema.type.join(" or ");
}

/** Bounds that only say what a number can hold exactly (2^53 - 1) are none. */
function rangeWords(schema: JsonSchema): string {
  const { minimum, maximum, exclusiveMinimum, minLength, maxLength, maxItems, pattern } = schema;
  const low = minimum !== undefined && minimum > Number.MIN_SAFE_INTEGER ? numberWords(minimum) : null;
  const high = maximum !== undefined && maximum < Number.MAX_SAFE_INTEGER ? numberWords(maximum) : null;
  if (exclusiveMinimum !== undefined) return `more than ${numberWords(exclusiveMinimum)}${high ? `, to ${high}` : ""}`;
  if (low !== null && high !== null) return `${low} to ${high}`;
  if (low !== null) return `${low} or more`;
  if (high !== null) return `${high} or less`;
  if (maxItems !== undefined) return `at most ${numberWords(maxItems)}`;
  if (maxLength !== undefined) return `${minLength ?? 0} to ${numberWords(maxLength)} characters`;
  return pattern !== undefined && schema.format === undefined ? pattern : "";
}

const numberWords = (value: number) => value.toLocaleString("en").replace("-", "−");

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
