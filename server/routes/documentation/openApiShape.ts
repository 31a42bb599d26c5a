import type { JsonSchema } from "./schemaRows.ts";

/** The OpenAPI document as far as the page reads it. */
export interface OpenApi {
  readonly paths: Readonly<Record<string, Readonly<Record<string, Operation>>>>;
}

export interface Operation {
  readonly summary?: string;
  readonly description?: string;
  readonly parameters?: readonly Parameter[];
  readonly requestBody?: { readonly content: { readonly "application/json": { readonly schema: JsonSchema } } };
  readonly responses?: Readonly<Record<string, Response>>;
  readonly "x-who-may"?: string;
  readonly "x-frames-from-server"?: Readonly<Record<string, JsonSchema>>;
}

interface Parameter {
  readonly name: string;
  readonly in: string;
  readonly required?: boolean;
  readonly schema?: JsonSchema;
}

interface Response {
  readonly description?: string;
  readonly content?: Readonly<Record<string, { readonly schema?: JsonSchema }>>;
}

export const bodyOf = (operation: Operation | undefined): JsonSchema | undefined =>
  operation?.requestBody?.content["application/json"].schema;

export const answerOf = (operation: Operation | undefined): JsonSchema | undefined =>
  operation?.responses?.["200"]?.content?.["application/json"]?.schema;
