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
