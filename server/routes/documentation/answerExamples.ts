import { z } from "zod";
import { readReport } from "../../contract/readReport.ts";
import { type Answer, answerSchema, type Refusal } from "../../contract/report.ts";
import { orderExample, partlyRefusedExample } from "../../contract/reportExample.ts";
import type { JsonSchema } from "./schemaRows.ts";

/** Answers as the server gives them to the examples. A field that is new in the schema appears by itself, empty. */
const emptyAnswer = (): object => emptyOf(z.toJSONSchema(answerSchema) as JsonSchema) as object;

export const answerExample = (): Answer => ({
  ...(emptyAnswer() as Answer),
  storedThrough: 413,
  serverTime: "2026-01-15T09:00:00.000Z",
  nextReportSeconds: 60,
});

const aMinuteLater = "2026-01-15T09:01:00.000Z";

export const answerWithOrder = (): Answer => ({
  ...answerExample(),
  storedThrough: null, // the report brought no events
  serverTime: aMinuteLater,
  orders: [orderExample],
});

export function partlyRefusedAnswer(): Answer {
  const read = readReport(partlyRefusedExample);
  if (read.kind !== "read") throw new Error("expected the example to be read in part");
  const refused: readonly Refusal[] = read.report.refused;
  return { ...answerExample(), storedThrough: 415, serverTime: aMinuteLater, refused: [...refused] };
}

/** The emptiest value that a schema allows, optional fields left out. */
function emptyOf({ type, properties = {}, required = [], anyOf }: JsonSchema): unknown {
  if (anyOf !== undefined) return null;
  switch (type) {
    case "object":
      return Object.fromEntries(required.map((name) => [name, emptyOf(properties[name] ?? {})]));
    case "array":
      return [];
    case "number":
    case "integer":
      return 0;
    case "boolean":
      return false;
    default:
      return "";
  }
}
