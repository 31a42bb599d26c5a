/** What every answer must be, whatever the request. */
export interface FuzzAnswer {
  readonly status: number;
  readonly type: string;
  readonly text: string;
}

/** @returns what is wrong with it; null where nothing is. */
export function answerProblem({ status, type, text }: FuzzAnswer): string | null {
  if (status >= 500) return `answered ${status}`;
  if (status < 400) return null;
  if (text === "" && type === "") return null; // to HEAD
  if (!type.startsWith("application/problem+json"))
    return `refused with ${status} as ${type}, which is not a problem document`;
  const problem = JSON.parse(text) as unknown;
  return problemDetailsProblem(problem, status);
}

/** RFC 9457, and of a 400 the fields that are wrong. */
export function problemDetailsProblem(problem: unknown, status: number): string | null {
  const details = problem as {
    readonly status?: unknown;
    readonly title?: unknown;
    readonly detail?: unknown;
    readonly errors?: unknown;
  };
  if (details.status !== status) return `the status is ${details.status} in the problem and ${status} in the answer`;
  if (!isText(details.title) || !isText(details.detail)) return "the problem lacks title or detail";
  if (status !== 400) return null;
  const errors = Array.isArray(details.errors)
    ? (details.errors as { readonly field?: unknown; readonly problem?: unknown }[])
    : [];
  return errors.length > 0 && errors.every((one) => isText(one.field) && isText(one.problem))
    ? null
    : `a 400 names no field: ${JSON.stringify(problem)}`;
}

const isText = (value: unknown) => typeof value === "string" && value !== "";
