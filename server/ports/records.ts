import type { DigestChannel } from "../contract/api.ts";
import type { YardAlarmChange } from "../domain/alarmRates/history.ts";
import type { AlarmChange } from "../domain/alarms/alarmStates.ts";
import type { Digest } from "../domain/digest/digest.ts";
import type { DayCounts } from "../domain/digest/digestFeeder.ts";
import type { Instant } from "../domain/instant.ts";
import type { LocalDate } from "../domain/localTime.ts";
import type { Order } from "../domain/orders/order.ts";
import type { TimeSpan } from "../domain/timeSpans.ts";
import type { FeederRow, LogLine, StoredRefill, YardRow } from "./rows.ts";

/** Reads of what has happened. */
export interface RecordStore {
  /** Events recorded in [from, to), in order, at most `most` of them. */
  events(feeder: string, from: Instant, to: Instant, most: number): Promise<readonly RecordedEvent[]>;
  /** In [from, to), in order; those of one moment as they were appended. */
  alarmChanges(feeder: string, from: Instant, to: Instant): Promise<readonly AlarmChange[]>;
  /** Those of several feeders in [from, to), in order; where there are more than `most`, the newest. */
  latestAlarmChanges(
    feeders: readonly string[],
    from: Instant,
    to: Instant,
    most: number,
  ): Promise<readonly YardAlarmChange[]>;
  /** In [from, to), in order. */
  refills(feeder: string, from: Instant, to: Instant): Promise<readonly StoredRefill[]>;
  /** Orders requested in [from, to), in order. */
  orders(feeder: string, from: Instant, to: Instant): Promise<readonly Order[]>;
  /** The lines of its log after the step `after` (-1: from the first on) until the step `through`, at most `most`; fewer where they are long. */
  lines(feeder: string, after: number, through: number, most: number): Promise<readonly LogLine[]>;
  /** Until when only events and keepers' entries are left of its log; null: of none of it. */
  thinnedUntil(feeder: string): Promise<Instant | null>;
}

export interface RecordedEvent {
  readonly seq: number;
  readonly boot: string;
  readonly kind: string;
  readonly recordedAt: Instant;
  readonly body: string; // JSON
}

export interface StoredDigest extends Digest {
  readonly localDate: LocalDate;
}

export type { TimeSpan };

/** The data of a digest, and the stored digests. */
export interface DigestStore {
  yardsWithDigest(): Promise<readonly YardRow[]>;
  /** Those whose state can be used. */
  feedersOf(yard: string): Promise<readonly FeederRow[]>;
  /** Who belongs to the yard, in any order, and on which channels each wants the digest. */
  recipientsOf(yard: string): Promise<readonly { readonly person: string; readonly digestBy: DigestChannel }[]>;
  /** Events by kind recorded in each of these spans; null where its part of the log is damaged. */
  dayCounts(feeder: string, spans: readonly TimeSpan[]): Promise<readonly (DayCounts | null)[]>;
  /** Deposits and portions recorded in the span, by time, at most `most` of them. */
  paymentEvents(feeder: string, within: TimeSpan, most: number): Promise<readonly RecordedEvent[]>;
  /** The first readings received in each of these spans, as posted; a span without any is left out. */
  firstReadings(
    feeder: string,
    spans: readonly TimeSpan[],
  ): Promise<readonly { readonly receivedAt: Instant; readonly readings: string }[]>;
  /** The local dates of this yard's digests, the newest first. */
  dates(yard: string, most: number): Promise<readonly LocalDate[]>;
  /** Null where this yard has none of that date. */
  digest(yard: string, localDate: LocalDate): Promise<StoredDigest | null>;
}
