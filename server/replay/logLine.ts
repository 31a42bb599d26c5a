import type { z } from "zod";
import { type LoggedAct, type LoggedSettings, type LogLineKind, logLineSchemas } from "../contract/feederLog.ts";
import { type FieldProblem, fieldProblem, wholeBody } from "../contract/fieldProblem.ts";
import { type PostedReport, readReport } from "../contract/readReport.ts";
import type { FaultKind } from "../domain/faults.ts";
import { type Instant, instantOf } from "../domain/instant.ts";
import type { RefusalReason } from "../domain/reportFaults.ts";

/** One line of a log, read whole: what happened to which feeder, and when. */
export type LogLine = { readonly feeder: string; readonly at: Instant } & (
  | { readonly kind: "report"; readonly report: PostedReport; readonly bootNumber?: number }
  | { readonly kind: "refused"; readonly problem: RefusalReason }
  | { readonly kind: "settings"; readonly settings: LoggedSettings }
  | { readonly kind: "keeper"; readonly act: LoggedAct }
  | { readonly kind: "orders" }
  | { readonly kind: "check"; readonly check: "complete" | "checked" }
  | { readonly kind: "missing"; readonly what: "readings" | "all"; readonly until: Instant }
  | { readonly kind: "truth"; readonly fault: FaultKind; readonly phase: "begin" | "end" }
);

export type ReadLine =
  | { readonly kind: "read"; readonly line: LogLine }
  | { readonly kind: "wrong"; readonly problems: readonly FieldProblem[] };

export function readLine(text: string): ReadLine {
  let request: unknown;
  try {
    request = JSON.parse(text);
  } catch (error) {
    return wrong([{ field: wholeBody, problem: `is no JSON: ${(error as SyntaxError).message}` }]);
  }
  const kinds = kindNames.filter(
    (kind) => typeof request === "object" && request !== null && Object.hasOwn(request, kind),
  );
  const [kind] = kinds;
  if (kind === undefined || kinds.length > 1) {
    return wrong([{ field: wholeBody, problem: `must have exactly one of ${kindNames.join(", ")}` }]);
  }
  return kind === "report" ? readReportLine(request) : readOther(kind, request);
}

const kindNames = Object.keys(logLineSchemas) as readonly LogLineKind[];

function readReportLine(request: unknown): ReadLine {
  const line = logLineSchemas.report.safeParse(request);
  if (!line.success) return wrong(fieldProblems(line.error));
  const read = readReport(line.data.report);
  if (read.kind === "unreadable") {
    return wrong(read.errors.map(({ field, problem }) => ({ field: within("report", field), problem })));
  }
  const { feeder, receivedAt, bootNumber } = line.data;
  const stated = bootNumber === undefined ? {} : { bootNumber };
  return { kind: "read", line: { kind: "report", feeder, at: instantOf(receivedAt), report: read.report, ...stated } };
}

function readOther(kind: Exclude<LogLineKind, "report">, request: unknown): ReadLine {
  const line = logLineSchemas[kind].safeParse(request);
  if (!line.success) return wrong(fieldProblems(line.error));
  const { feeder } = line.data;
  const at = instantOf(line.data.at);
  if ("settings" in line.data) return read({ kind: "settings", feeder, at, settings: line.data.settings });
  if ("keeper" in line.data) return read({ kind: "keeper", feeder, at, act: line.data.keeper });
  if ("refused" in line.data) return read({ kind: "refused", feeder, at, problem: line.data.refused });
  if ("orders" in line.data) return read({ kind: "orders", feeder, at });
  if ("check" in line.data) return read({ kind: "check", feeder, at, check: line.data.check });
  if ("missing" in line.data) {
    const { what, until } = line.data.missing;
    return read({ kind: "missing", feeder, at, what, until: instantOf(until) });
  }
  return read({ kind: "truth", feeder, at, ...line.data.truth });
}

export const fieldProblems = (error: z.ZodError): readonly FieldProblem[] =>
  error.issues.map((issue) => fieldProblem(issue));

const within = (outer: string, field: string) => (field === wholeBody ? outer : `${outer}.${field}`);
const read = (line: LogLine): ReadLine => ({ kind: "read", line });
const wrong = (problems: readonly FieldProblem[]): ReadLine => ({ kind: "wrong", problems });
