import type { SentOrder } from "./contract/report.ts";
import type { AlarmChange, Notice } from "./domain/facts.ts";
import type { FeederState } from "./domain/feeder.ts";
import type { Instant } from "./domain/instant.ts";
import type { Order } from "./domain/orders/order.ts";
import type { Grams } from "./domain/units.ts";

/** What flows need from the world outside, and nothing of how it is done. */
export interface Ports {
  readonly clock: Clock;
  readonly store: Store;
  readonly push: PushGateway;
  readonly feeders: FeederLink;
  readonly live: LiveFeed;
}

export interface Clock {
  now(): Instant;
}

// --- storing -------------------------------------------------------------------------------------------------------

export interface YardRow {
  readonly id: string;
  readonly name: string;
  readonly zone: string;
  readonly place: { readonly latitudeDegrees: number; readonly longitudeDegrees: number } | null;
  readonly digestTime: string; // local, HH:MM
  readonly digestWanted: boolean;
  readonly practice: boolean;
}

export interface FeederRow {
  readonly id: string;
  readonly yard: string;
  readonly practice: boolean;
  readonly revision: number;
  readonly lastHeardAt: Instant | null;
  readonly state: FeederState;
}

/** An event as it is kept for good. `body` is the JSON text as the feeder sent it, unknown fields included. */
export interface StoredEvent {
  readonly feeder: string;
  readonly boot: string;
  readonly seq: number;
  readonly kind: string;
  readonly receivedAt: Instant;
  readonly recordedAt: Instant;
  readonly body: string;
}

/** One report's readings as posted, so that the log can be replayed. */
export interface StoredHeartbeat {
  readonly feeder: string;
  readonly receivedAt: Instant;
  readonly boot: string;
  readonly sentUptimeMs: number | null;
  readonly readings: string; // JSON as posted
}

export interface StoredRefill {
  readonly id: string;
  readonly feeder: string;
  readonly at: Instant;
  readonly grams: Grams | null; // null where only "filled" was said
  readonly source: "told" | "found" | "feeder";
  readonly by: string | null;
}

export interface Phone {
  readonly id: string;
  readonly keeper: string;
  readonly endpoint: string;
  readonly p256dh: string;
  readonly auth: string;
  readonly label: string;
  readonly addedAt: Instant;
  readonly lastAcceptedAt: Instant | null;
  readonly problem: string | null;
}

/** A notice on its way to one phone. */
export interface OutboxItem {
  readonly id: string;
  readonly phone: Phone;
  readonly feeder: string | null;
  readonly notice: Notice;
  readonly writtenAt: Instant;
  readonly attempts: number; // deliveries begun before this claim
}

/** How one attempt at a delivery ended, for the outbox to remember. */
export type Settlement =
  | { readonly kind: "delivered"; readonly at: Instant }
  | { readonly kind: "retry"; readonly notBefore: Instant; readonly problem: string }
  | { readonly kind: "givenUp"; readonly at: Instant; readonly problem: string }
  | { readonly kind: "phoneGone"; readonly at: Instant; readonly problem: string };

export interface Store {
  /**
   * Runs `work` in one transaction; what it wrote is on the disk (synchronous=FULL) when the promise resolves, or nothing of
   * it is. @throws StoreBusy, StoreFull
   */
  transaction<T>(work: (tx: Transaction) => Promise<T>): Promise<T>;
  readonly outbox: OutboxStore;
  readonly digests: DigestStore;
}

/** What may be written together. */
export interface Transaction {
  /** Current rows of these feeders, locked until the end of the transaction. Unknown ids are left out. */
  feeders(ids: readonly string[]): Promise<readonly FeederRow[]>;
  /** Stores what is new and returns the identities of the new ones; what is stored already stays as it was. */
  appendEvents(events: readonly StoredEvent[]): Promise<ReadonlySet<string>>;
  appendHeartbeats(heartbeats: readonly StoredHeartbeat[]): Promise<void>;
  /** Bodies of stored events by identity, for telling a true repeat from a reused number. */
  bodiesOf(events: readonly StoredEvent[]): Promise<ReadonlyMap<string, string>>;
  saveFeeders(
    rows: readonly { id: string; state: FeederState; lastHeardAt: Instant | null; nextLookAt: Instant }[],
  ): Promise<void>;
  logAlarmChanges(feeder: string, changes: readonly AlarmChange[]): Promise<void>;
  saveOrder(feeder: string, order: Order): Promise<void>;
  saveRefill(refill: StoredRefill): Promise<void>;
  /** Writes one outbox item for each phone of the yard's keepers; an older undelivered one with the same topic is replaced. */
  enqueue(yard: string, feeder: string | null, notice: Notice, now: Instant): Promise<void>;
  /** @returns false where this yard already had a digest for this local date: never twice a date. */
  claimDigest(yard: string, localDate: string, now: Instant, title: string, lines: readonly string[]): Promise<boolean>;
}

/** Identity of an event within the whole house. */
export const identityOf = (event: { feeder: string; boot: string; seq: number }): string =>
  `${event.feeder} ${event.boot} ${event.seq}`;

export interface OutboxStore {
  /** Takes up to `most` items that are due and unclaimed, for `claimFor` ms from `now`; two callers never get the same one. */
  claim(now: Instant, claimUntil: Instant, most: number): Promise<readonly OutboxItem[]>;
  /** Remembers how it ended. `phoneGone` also removes the phone with all that waits for it. */
  settle(item: OutboxItem, settlement: Settlement): Promise<void>;
  /** When the next item is due; null while nothing waits. */
  nextDueAt(): Promise<Instant | null>;
}

export interface DigestStore {
  yardsWithDigest(): Promise<readonly YardRow[]>;
  feedersOf(yard: string): Promise<readonly FeederRow[]>;
  /** Whether this yard already has a digest of this local date: the cheap question before the work. */
  hasDigest(yard: string, localDate: string): Promise<boolean>;
  /** Counts of events by kind recorded in [from, to), and of alarms raised then. */
  tally(feeder: string, from: Instant, to: Instant): Promise<DayCounts>;
}

export interface DayCounts {
  readonly visits: number;
  readonly presses: number;
  readonly deposits: number;
  readonly portions: number;
  readonly alarmsRaised: number;
}

/** The database is locked by somebody else; nothing was stored, try again. */
export class StoreBusy extends Error {
  override readonly name = "StoreBusy";
}
/** The disk is full; nothing was stored. */
export class StoreFull extends Error {
  override readonly name = "StoreFull";
}

// --- telling -------------------------------------------------------------------------------------------------------

/** What a push service answered. Every answer is ordinary; none is thrown. */
export type PushOutcome =
  | { readonly kind: "accepted" }
  | { readonly kind: "subscriptionGone"; readonly words: string }
  | { readonly kind: "tryLater"; readonly notBefore: Instant | null; readonly words: string }
  | { readonly kind: "refused"; readonly words: string };

export interface PushGateway {
  readonly publicKey: string; // VAPID, base64url
  send(phone: Phone, feeder: string | null, notice: Notice, now: Instant): Promise<PushOutcome>;
  /** Whether an endpoint may be pushed to at all: https, and a public address unless a setting allows others. */
  checkEndpoint(
    endpoint: string,
  ): Promise<{ readonly kind: "fine" } | { readonly kind: "refused"; readonly why: string }>;
}

/** Feeders that hold a live socket. */
export interface FeederLink {
  /** @returns whether the feeder is connected just now and the orders were written to its socket. */
  deliver(feeder: string, orders: readonly SentOrder[]): boolean;
}

/** Keepers' browsers that watch. */
export interface LiveFeed {
  changed(yard: string, feeder: string | null, revision: number | null): void;
}
