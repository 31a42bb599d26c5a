import type { PostedEvent, PostedReport } from "../../contract/readReport.ts";
import type { Refusal, SentOrder } from "../../contract/report.ts";
import { type EventSequence, highestStored, stored } from "../../domain/eventSequence.ts";
import type { FeederEvent } from "../../domain/facts.ts";
import { readSendingTime } from "../../domain/feederClock.ts";
import type { Instant, Span } from "../../domain/instant.ts";
import { type Advanced, advanced, ordersFor } from "./advanced.ts";

/** What a report makes of a feeder, for whoever stores it and whoever replays it. */
export type TakenReport =
  | { readonly kind: "bootReused"; readonly uptimeBefore: Span }
  | {
      readonly kind: "taken";
      readonly feeder: Advanced;
      /** What is new, by seq, each with the moment at which it happened. */
      readonly events: readonly PlacedEvent[];
      readonly orders: readonly SentOrder[]; // to be sent with the answer
    };

export interface PlacedEvent {
  readonly posted: PostedEvent;
  readonly recordedAt: Instant;
}

/** @param fresh those of the report's events that are not stored yet, by seq. */
export function takeReport(
  before: Advanced,
  report: Pick<PostedReport, "boot" | "sentUptime" | "readings" | "setAside">,
  fresh: readonly PostedEvent[],
  receivedAt: Instant,
): TakenReport {
  const { boot, sentUptime, readings, setAside } = report;
  const time = readSendingTime(before.state.clock, boot, sentUptime, receivedAt);
  if (time.kind === "bootReused") return time;

  const events: FeederEvent[] = [];
  const placed: PlacedEvent[] = [];
  const seqs: number[] = [];
  for (const posted of fresh) {
    const { seq, uptime, happening } = posted;
    const recordedAt = time.momentOf(uptime);
    events.push({ ...happening, seq, recordedAt });
    placed.push({ posted, recordedAt });
    seqs.push(seq);
  }
  // By far the most reports bring no events, and come from the boot that is known best.
  const same = seqs.length === 0 && before.state.sequence.boots.at(-1)?.boot === boot;
  const sequence = same ? before.state.sequence : stored(before.state.sequence, boot, seqs);
  const begun = { ...before, state: { ...before.state, clock: time.clock, sequence } };
  const told = { boot, sentUptime, readings, setAside, events };
  const reported = advanced(begun, { kind: "reported", report: told }, receivedAt);
  const orders = ordersFor(reported.state, receivedAt);
  const feeder = orders.length > 0 ? advanced(reported, { kind: "ordersSent" }, receivedAt) : reported;
  return { kind: "taken", feeder, events: placed, orders };
}

// --- exactly once --------------------------------------------------------------------------------------------------

export interface SortedOut {
  readonly fresh: readonly PostedEvent[]; // by seq
  readonly duplicates: number;
  readonly refused: readonly Refusal[];
}

/** By far the most reports: all numbers rise beyond what is stored. Then nobody need be asked. */
export function surelyNew(sequence: EventSequence, { boot, events }: Pick<PostedReport, "boot" | "events">): boolean {
  const highest = highestStored(sequence, boot);
  return events.every(
    ({ seq }, index) => highest !== null && seq > (index === 0 ? highest : (events[index - 1]?.seq ?? highest)),
  );
}

/**
 * What is stored already is a repeat if it says the same, and refused if it says something else.
 * @param stored bodies as JSON of those of these events that are stored, by seq.
 */
export function sortByBodies(
  { boot, events }: Pick<PostedReport, "boot" | "events">,
  stored: ReadonlyMap<number, string>,
): SortedOut {
  const known = new Map(stored);
  const fresh: PostedEvent[] = [];
  const refused: Refusal[] = [];
  let duplicates = 0;
  for (const event of events) {
    const body = JSON.stringify(event.body);
    const before = known.get(event.seq);
    if (before === undefined) {
      fresh.push(event);
      known.set(event.seq, body);
    } else if (before === body) {
      duplicates += 1;
    } else {
      const problem = `seq ${event.seq} of boot ${boot} is stored already and said something else`;
      refused.push({ seq: event.seq, field: "seq", problem });
    }
  }
  fresh.sort((a, b) => a.seq - b.seq);
  return { fresh, duplicates, refused };
}
