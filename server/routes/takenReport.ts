import { eventsPerReportMax } from "../contract/report.ts";
import type { IngestOutcome } from "../flows/ingest.ts";
import type { FeederDoor } from "./feederDoor.ts";
import type { Problem } from "./problems.ts";

/** What became of a report, however it came in, and how a refusal is told. */
export type TakeOutcome =
  | IngestOutcome
  | { readonly kind: "tooMany"; readonly events: number }
  | { readonly kind: "otherFeeder"; readonly named: string; readonly is: string };

export async function take(door: FeederDoor, feeder: string, posted: unknown): Promise<TakeOutcome> {
  const { events, feeder: named } = (posted ?? {}) as { events?: unknown; feeder?: unknown };
  if (Array.isArray(events) && events.length > eventsPerReportMax) return { kind: "tooMany", events: events.length };
  // A feeder may say who it believes it is: two feeders with swapped keys would spoil both records.
  if (typeof named === "string" && named !== feeder) return { kind: "otherFeeder", named, is: feeder };
  return door.ingest.take(feeder, posted);
}

export function problemFor(outcome: Exclude<TakeOutcome, { kind: "answered" }>): Problem {
  switch (outcome.kind) {
    case "unreadable":
      return {
        status: 400,
        detail: outcome.errors.map(({ field, problem }) => `${field}: ${problem}`).join("; "),
        errors: outcome.errors,
      };
    case "tooMany": {
      const what = `has ${outcome.events} events; at most ${eventsPerReportMax} a report: send the oldest first, the rest next time`;
      return { status: 413, detail: `events: ${what}`, errors: [{ field: "events", problem: what }] };
    }
    case "otherFeeder": {
      const what = `is ${outcome.named}, but the key belongs to ${outcome.is}`;
      return { status: 403, detail: `feeder: ${what}`, errors: [{ field: "feeder", problem: what }] };
    }
    case "bootReused": {
      const what = `${outcome.boot} was up for ${outcome.uptimeBefore} ms before; a feeder that starts anew needs a new boot id`;
      return { status: 409, detail: `boot: ${what}`, errors: [{ field: "boot", problem: what }] };
    }
    case "unknownFeeder":
      return { status: 404, detail: "This feeder was removed." };
  }
}
