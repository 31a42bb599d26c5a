import type { FastifyBaseLogger } from "fastify";
import { wholeBody } from "../contract/fieldProblem.ts";
import { parseReport } from "../contract/lenientJson.ts";
import { eventsPerReportMax } from "../contract/report.ts";
import { ownEventLoopTurn } from "../flows/eventLoopTurn.ts";
import type { IngestOutcome } from "../flows/ingest.ts";
import { texts } from "../text/index.ts";
import type { Problem } from "./problems.ts";
import type { ReportingContext } from "./reportingContext.ts";

/** What became of a report, over HTTP or a socket. */
export type ReportOutcome =
  | IngestOutcome
  | { readonly kind: "tooMany"; readonly events: number }
  | { readonly kind: "otherFeeder"; readonly namedFeeder: string; readonly keyFeeder: string };

/** @param text as it came. @param feeder whose key was checked: only then is a report that can't be read recorded. */
export async function ingestReport(
  context: ReportingContext,
  feeder: string,
  text: string,
  log: FastifyBaseLogger,
): Promise<ReportOutcome> {
  const outcome = await parseAndIngest(context, feeder, text);
  if (outcome.kind !== "answered" && outcome.kind !== "unknownFeeder")
    await logRefusedReport(context, feeder, outcome, log);
  return outcome;
}

/** The report is refused, whether that could be recorded or not. */
async function logRefusedReport(
  context: ReportingContext,
  feeder: string,
  outcome: Exclude<ReportOutcome, { kind: "answered" }>,
  log: FastifyBaseLogger,
): Promise<void> {
  const [problem] = outcomeProblem(outcome).errors ?? [];
  if (problem === undefined) return;
  try {
    const logs = await context.ingest.recordRefused(feeder, problem);
    if (logs) log.warn({ feeder, ...problem }, "a feeder's report was refused");
  } catch (error) {
    log.error({ err: error, feeder, ...problem }, "a refused report could not be noted");
  }
}

async function parseAndIngest(context: ReportingContext, feeder: string, text: string): Promise<ReportOutcome> {
  if (text.length > readAtOnceMax) await ownEventLoopTurn();
  const parsed = parseReport(text);
  if (parsed.kind === "notJson") {
    return { kind: "unreadable", errors: [{ field: wholeBody, problem: parsed.problem }] };
  }
  const posted = parsed.value;
  const { events, feeder: named } = (posted ?? {}) as { events?: unknown; feeder?: unknown };
  if (Array.isArray(events) && events.length > eventsPerReportMax) return { kind: "tooMany", events: events.length };
  // A feeder may send its own id: two feeders with swapped keys would spoil both records.
  if (typeof named === "string" && named !== feeder)
    return { kind: "otherFeeder", namedFeeder: named, keyFeeder: feeder };
  return context.ingest.take(feeder, posted, parsed.bareNumbers, parsed.json);
}

/** Characters that are read in some tenths of a millisecond: about a hundred events. */
const readAtOnceMax = 16_000;

export function outcomeProblem(outcome: Exclude<ReportOutcome, { kind: "answered" }>): Problem {
  switch (outcome.kind) {
    case "unreadable":
      return {
        status: 400,
        detail: outcome.errors.map(({ field, problem }) => `${field}: ${problem}`).join("; "),
        errors: outcome.errors,
      };
    case "tooMany": {
      const what = texts.refusals.tooManyEvents(outcome.events, eventsPerReportMax);
      return {
        status: 413,
        detail: texts.refusals.field("events", what),
        errors: [{ field: "events", problem: what }],
      };
    }
    case "otherFeeder": {
      const what = texts.refusals.otherFeeder(outcome.namedFeeder, outcome.keyFeeder);
      return {
        status: 403,
        detail: texts.refusals.field("feeder", what),
        errors: [{ field: "feeder", problem: what }],
      };
    }
    case "bootUnclear": {
      const { bootUnclear, bootUnclearAfter } = texts.refusals;
      const { boot, uptimeBefore } = outcome;
      const what = uptimeBefore === null ? bootUnclear(boot) : bootUnclearAfter(boot, uptimeBefore);
      return { status: 409, detail: texts.refusals.field("boot", what), errors: [{ field: "boot", problem: what }] };
    }
    case "unknownFeeder":
      return { status: 404, detail: texts.refusals.feederRemoved };
  }
}
