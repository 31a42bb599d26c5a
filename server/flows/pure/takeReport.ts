import type { PostedEvent, PostedReport } from "../../contract/readReport.ts";
import type { SentOrder } from "../../contract/report.ts";
import { updateEventSequence } from "../../domain/eventSequence.ts";
import { sendingTime, withNewestBoots } from "../../domain/feederClock.ts";
import type { Instant } from "../../domain/instant.ts";
import type { FeederEvent } from "../../domain/report.ts";
import { mergeStoredBoots, type StoredBoot } from "../../domain/storedBoots.ts";
import { applyFact, type FeederUpdate, ordersFor } from "./feederUpdate.ts";

/** The result of a report, for ingest and for replay. */
export interface TakenReport {
  readonly feeder: FeederUpdate;
  /** What is new, by seq, each with the moment at which it happened. */
  readonly events: readonly PlacedEvent[];
  /** By which they are dated; null where it isn't known. */
  readonly bootedAt: Instant | null;
  readonly orders: readonly SentOrder[]; // to be sent with the answer
}

export interface PlacedEvent {
  readonly posted: PostedEvent;
  readonly recordedAt: Instant;
}

/**
 * @param report its `boot` as `numberedBoot` makes it.
 * @param newEvents those of the report's events that are not stored yet, by seq.
 * @param recalled what is stored of its boot id, where the state may have forgotten it.
 */
export function takeReport(
  before: FeederUpdate,
  report: Pick<PostedReport, "boot" | "sentUptime" | "readings" | "rejectedReadings" | "unknownReadings">,
  newEvents: readonly PostedEvent[],
  receivedAt: Instant,
  recalled: readonly StoredBoot[] = [],
): TakenReport {
  const { boot, sentUptime, readings, rejectedReadings, unknownReadings } = report;
  const known = mergeStoredBoots(before.state, recalled);
  const time = sendingTime(known.clock, boot, sentUptime, receivedAt);

  const events: FeederEvent[] = [];
  const placed: PlacedEvent[] = [];
  for (const posted of newEvents) {
    const { seq, uptime, content } = posted;
    const recordedAt = time.instantOf(uptime);
    events.push({ seq, recordedAt, ...content }); // new names first: to a copy, V8 adds them more than ten times as slowly
    placed.push({ posted, recordedAt });
  }
  // Most reports bring no events and come from the newest boot.
  const isUnchanged = newEvents.length === 0 && before.state.eventSequence.boots.at(-1)?.boot === boot;
  const eventSequence = isUnchanged
    ? before.state.eventSequence
    : updateEventSequence(known.eventSequence, boot, newEvents);
  const started = { ...before, state: { ...before.state, clock: withNewestBoots(time.clock), eventSequence } };
  const content = { boot, sentUptime, readings, rejectedReadings, unknownReadings, events };
  const reported = applyFact(started, { kind: "reported", report: content }, receivedAt);
  const orders = ordersFor(reported.state, receivedAt);
  const feeder = orders.length > 0 ? applyFact(reported, { kind: "ordersSent" }, receivedAt) : reported;
  return { feeder, events: placed, bootedAt: time.bootedAt, orders };
}
