import type { PostedEvent, PostedReport } from "../../contract/readReport.ts";
import type { SentOrder } from "../../contract/report.ts";
import { stored } from "../../domain/eventSequence.ts";
import { readSendingTime, withNewestBoots } from "../../domain/feederClock.ts";
import type { Instant } from "../../domain/instant.ts";
import type { FeederEvent } from "../../domain/report.ts";
import { type StoredBoot, withStored } from "../../domain/storedBoots.ts";
import { type Advanced, advanced, ordersFor } from "./advanced.ts";

/** What a report makes of a feeder, for whoever stores it and whoever replays it. */
export interface TakenReport {
  readonly feeder: Advanced;
  /** What is new, by seq, each with the moment at which it happened. */
  readonly events: readonly PlacedEvent[];
  readonly orders: readonly SentOrder[]; // to be sent with the answer
}

export interface PlacedEvent {
  readonly posted: PostedEvent;
  readonly recordedAt: Instant;
}

/**
 * @param report its `boot` with the life that it is of, as `bootOfLife` makes it.
 * @param fresh those of the report's events that are not stored yet, by seq.
 * @param recalled what is stored of its boot id, where the state may have forgotten it.
 */
export function takeReport(
  before: Advanced,
  report: Pick<PostedReport, "boot" | "sentUptime" | "readings" | "setAside" | "unknownReadings">,
  fresh: readonly PostedEvent[],
  receivedAt: Instant,
  recalled: readonly StoredBoot[] = [],
): TakenReport {
  const { boot, sentUptime, readings, setAside, unknownReadings } = report;
  const known = withStored(before.state, recalled);
  const time = readSendingTime(known.clock, boot, sentUptime, receivedAt);

  const events: FeederEvent[] = [];
  const placed: PlacedEvent[] = [];
  for (const posted of fresh) {
    const { seq, uptime, happening } = posted;
    const recordedAt = time.momentOf(uptime);
    events.push({ ...happening, seq, recordedAt });
    placed.push({ posted, recordedAt });
  }
  // By far the most reports bring no events, and come from the boot that is known best.
  const same = fresh.length === 0 && before.state.sequence.boots.at(-1)?.boot === boot;
  const sequence = same ? before.state.sequence : stored(known.sequence, boot, fresh);
  const begun = { ...before, state: { ...before.state, clock: withNewestBoots(time.clock), sequence } };
  const told = { boot, sentUptime, readings, setAside, unknown: unknownReadings, events };
  const reported = advanced(begun, { kind: "reported", report: told }, receivedAt);
  const orders = ordersFor(reported.state, receivedAt);
  const feeder = orders.length > 0 ? advanced(reported, { kind: "ordersSent" }, receivedAt) : reported;
  return { feeder, events: placed, orders };
}
