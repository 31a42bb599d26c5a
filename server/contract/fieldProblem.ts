import type { z } from "zod";

export interface FieldProblem {
  readonly field: string;
  readonly problem: string;
}

/** What is wrong with the value as such, and not with a field of it. */
export const wholeBody = "(the whole)";

/** A schema's complaint by the field's path, such as `events[3].cause`. @param under the path of what was read, if it is a part. */
export function fieldProblem(issue: z.core.$ZodIssue, under = ""): FieldProblem {
  const path = issue.path.map((step) => (typeof step === "number" ? `[${step}]` : `.${String(step)}`)).join("");
  return { field: `${under}${path}`.replace(/^\./, "") || wholeBody, problem: issue.message };
}

/** A schema's problem, with the value that was sent. @param request the value that the schema was given */
export function problemWithValue(issue: z.core.$ZodIssue, request: unknown, under = ""): FieldProblem {
  const { field, problem } = fieldProblem(issue, under);
  let value = request;
  for (const step of issue.path) value = isIndexable(value) ? value[step as string] : undefined;
  return { field, problem: value === undefined || value === request ? problem : `${problem}, got ${valueText(value)}` };
}

const isIndexable = (value: unknown): value is Record<string, unknown> => typeof value === "object" && value !== null;

export function valueText(value: unknown): string {
  if (Array.isArray(value)) return "a list";
  if (isIndexable(value)) return "an object";
  const text = JSON.stringify(value); // what came as JSON always has such a form
  return text.length <= 40 ? text : `${text.slice(0, 39)}…`;
}
