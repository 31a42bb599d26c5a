import type { SentPlan } from "./contract/plan.ts";
import type { SentOrder } from "./contract/report.ts";
import type { AlarmChange } from "./domain/alarms/alarmStates.ts";
import type { Digest } from "./domain/digest/digest.ts";
import type { FeederState } from "./domain/feeder.ts";
import type { QuarterRollup } from "./domain/history/quarterChanges.ts";
import type { Instant } from "./domain/instant.ts";
import type { LocalDate } from "./domain/localTime.ts";
import type { Order } from "./domain/orders/order.ts";
import type { EmailOutcome, PushOutcome, Settlement } from "./domain/push/outcome.ts";
import type { StoredBoot } from "./domain/storedBoots.ts";
import type { AccountStore, RemovalResult } from "./ports/accounts.ts";
import type { Archives } from "./ports/archives.ts";
import type { SettingsComparer } from "./ports/comparison.ts";
import type { HistoryStore } from "./ports/history.ts";
import type {
  EmailGateway,
  EscalationStore,
  GonePhone,
  NotificationTransaction,
  OutboxSignal,
  OutboxStore,
  Phone,
  PushGateway,
  RenewPhoneResult,
  SavePhoneResult,
  Subscription,
} from "./ports/notification.ts";
import type { PasskeyStore } from "./ports/passkeys.ts";
import type { PeopleStore } from "./ports/people.ts";
import type { PictureEncoder, PictureFiles, PictureStore } from "./ports/pictures.ts";
import type { PracticeRunner } from "./ports/practice.ts";
import type { DigestStore, RecordedEvent, RecordStore } from "./ports/records.ts";
import type {
  DamagedFeeder,
  FeederRow,
  LogLine,
  SteppedState,
  StoredRefill,
  YardChanges,
  YardRow,
} from "./ports/rows.ts";
import type { StillStore } from "./ports/stills.ts";
import type { DamageRecipients, StoreCondition } from "./ports/storeCondition.ts";
import type { DamagedLines } from "./ports/storeProblems.ts";
import type { TrainingStore, TrainingTransaction } from "./ports/training.ts";

export type * from "./ports/accounts.ts";
export * from "./ports/archives.ts";
export type * from "./ports/comparison.ts";
export type * from "./ports/exportKeys.ts";
export type * from "./ports/history.ts";
export type * from "./ports/notification.ts";
export type * from "./ports/passkeys.ts";
export type * from "./ports/people.ts";
export type * from "./ports/pictures.ts";
export type * from "./ports/practice.ts";
export type * from "./ports/records.ts";
export type * from "./ports/rowPlace.ts";
export type * from "./ports/rows.ts";
export type * from "./ports/stills.ts";
export type * from "./ports/storeCondition.ts";
export * from "./ports/storeProblems.ts";
export type * from "./ports/training.ts";
/** Types of these ports that the domain defines. */
export type { EmailOutcome, PushOutcome, Settlement };

/** What flows need from outside, without how it is done. */
export interface Ports {
  readonly clock: Clock;
  readonly store: Store;
  readonly push: PushGateway;
  readonly email: EmailGateway;
  readonly feederLink: FeederLink;
  readonly retainedMessages: RetainedMessages;
  readonly liveFeed: LiveFeed;
  readonly outboxSignal: OutboxSignal;
  readonly practiceRunner: PracticeRunner;
  readonly guessEstimator: GuessEstimator;
  readonly settingsComparer: SettingsComparer;
  readonly pictureFiles: PictureFiles;
  readonly pictureEncoder: PictureEncoder;
  readonly archives: Archives;
}

export interface Clock {
  now(): Instant;
}

/** How easily a passphrase is guessed, by zxcvbn. */
export interface GuessEstimate {
  readonly score: number; // 0 to 4
  readonly warning: string | null; // zxcvbn's name of the weakness
}

export interface GuessEstimator {
  /** @param expected guesses to try first, such as the person's name */
  estimate(passphrase: string, expected: readonly string[]): Promise<GuessEstimate>;
}

// --- storing -------------------------------------------------------------------------------------------------------

export interface Store {
  /**
   * Runs `work` in one transaction; when the promise resolves, all that it wrote is on the disk.
   * @throws StoreBusy, StoreReadOnly, StoreDamaged: nothing was written. StoreFull: where the disk fails at the very end, it may be
   *   stored all the same
   * @param committed called with what was committed while the disk still writes it: for what must not wait for a disk, and does no harm where
   *   a power cut takes the commit back
   */
  transaction<T>(work: (tx: Transaction) => Promise<T>, committed?: (result: T) => void): Promise<T>;
  /**
   * The same for writes through several of these stores. `work` may run again after the store was busy, so it has no other
   * effects. @throws StoreBusy, StoreFull
   */
  withStores<T>(work: (stores: AtomicStores) => Promise<T>): Promise<T>;
  readonly condition: StoreCondition;
  /** Keepers of yards with their phones and addresses. */
  damageRecipients(): Promise<DamageRecipients>;
  readonly outbox: OutboxStore;
  readonly escalations: EscalationStore;
  readonly people: PeopleStore;
  readonly accounts: AccountStore;
  readonly digests: DigestStore;
  readonly yards: YardStore;
  readonly keepers: KeeperStore;
  readonly records: RecordStore;
  readonly history: HistoryStore;
  readonly packs: LogPacking;
  readonly rollups: RollupStore;
  readonly training: TrainingStore;
  readonly pictures: PictureStore;
  readonly stills: StillStore;
}

/** Keeps the log small, a short step at a time. Each step says whether there may be another one. */
export interface LogPacking {
  /** Packs one day of one feeder that has been over for a day (UTC). */
  packNext(now: Instant): Promise<boolean>;
  /** Drops readings, reports without events and checks from one pack whose lines are all older. */
  thinNext(before: Instant): Promise<boolean>;
  /** Gives some free pages of the file back. */
  shrink(): Promise<boolean>;
}

/** Sums by quarter of an hour, hour and day (domain/history). */
export interface RollupStore {
  /**
   * Makes a feeder's roll-ups again from its log, and replaces those that differ, in one transaction.
   * @throws FeederDamaged
   */
  rebuild(feeder: string): Promise<RebuiltRollups>;
}

export interface RebuiltRollups {
  readonly rows: number;
  readonly changed: number; // of them, and of those that should not be there
  /** Older quarters stayed as they were: their readings are gone. Null: there are none. */
  readonly from: Instant | null;
  /** Parts of the log that can't be read: their quarters stayed as they were. */
  readonly unreadable: readonly DamagedLines[];
  /** Lines that this version can't take. */
  readonly linesLeftOut: number;
}

/** The stores whose changes one action may need in one transaction. */
export interface AtomicStores {
  readonly people: PeopleStore;
  readonly yards: YardStore;
  readonly keepers: Omit<KeeperStore, PhoneOperation | keyof PasskeyStore>;
}

/** Bodies as JSON with the moments at which their events happened, by seq. */
export type StoredBodies = ReadonlyMap<number, Pick<RecordedEvent, "body" | "recordedAt">>;

/** The next step of a feeder: its new state, and the line of its log that says what led to it. */
export interface SavedStep extends Pick<FeederRow, "id" | "state" | "rollups" | "lastReportAt" | "lastStepAt"> {
  /** Of the state that it was computed from. */
  readonly revision: number;
  readonly nextCheckAt: Instant;
  readonly line: Omit<LogLine, "step">;
  /** To be merged into the stored roll-ups. */
  readonly closedQuarters: readonly QuarterRollup[];
  /** Nothing but readings and events: the log is enough to make this state again. Of any other step the state is stored at once. */
  readonly isPlain: boolean;
}

/**
 * Makes a feeder's state again: that of a snapshot, and the steps after it. The same steps as live and in a replay.
 * @param before null: the first line comes first
 * @param onClosed is given the quarters that close within these lines; they are stored already.
 * @throws Error for a line that can't be read
 */
export type RebuildState = (
  before: SteppedState | null,
  lines: readonly LogLine[],
  onClosed?: (closed: readonly QuarterRollup[]) => void,
) => SteppedState;

/** Writes in one transaction. */
export interface Transaction extends NotificationTransaction, TrainingTransaction {
  /**
   * Current rows of these feeders, locked until the end of the transaction. Unknown ids are left out.
   * @throws FeederDamaged
   */
  feeders(ids: readonly string[]): Promise<readonly FeederRow[]>;
  /** Those of these events that are stored already, by seq: a true repeat has the same body, a reused number another one. */
  storedEventBodies(feeder: string, boot: string, seqs: readonly number[]): Promise<StoredBodies>;
  /**
   * Replaces a damaged state by a rebuilt one, and stores the damaged one beside it. @returns false where that was done already.
   */
  replaceDamaged(
    feeder: Pick<DamagedFeeder, "id" | "revision">,
    by: SteppedState & { readonly lastStepAt: Instant | null },
    now: Instant,
  ): Promise<boolean>;
  /** Every start with this boot id of which events are stored. */
  storedBoots(feeder: string, label: string): Promise<readonly StoredBoot[]>;
  /**
   * One step for each of these feeders, which were read in this transaction.
   * @throws StoreBusy where it has made another step since that revision: nothing is stored
   */
  saveSteps(steps: readonly SavedStep[]): Promise<void>;
  appendAlarmChanges(feeder: string, changes: readonly AlarmChange[]): Promise<void>;
  saveOrder(feeder: string, order: Order): Promise<void>;
  /** @returns false where a refill with this id is stored already. */
  saveRefill(refill: StoredRefill): Promise<boolean>;
  /** @returns false where an action with this client's id was done already: the client repeats it after a lost answer. */
  claimActionId(feeder: string, id: string, at: Instant): Promise<boolean>;
  /** All feeders of a yard whose state can be used, locked until the end of the transaction. */
  feedersOf(yard: string): Promise<readonly FeederRow[]>;
  yard(id: string): Promise<YardRow | null>;
  /**
   * Makes the yard's escalations due at once: its zone and delays decide when people are notified. Null: there is no such yard.
   */
  changeYard(id: string, changes: YardChanges, now: Instant): Promise<YardRow | null>;
  /** @returns false where this yard has a digest for this local date already. */
  claimDigest(yard: string, localDate: LocalDate, now: Instant, digest: Digest): Promise<boolean>;
}

/** Yards and their feeders. */
export interface YardStore {
  yards(): Promise<readonly YardRow[]>;
  /** Its first member is its keeper. */
  addYard(yard: YardRow, keeper: string, now: Instant): Promise<void>;
  /**
   * Removes the yard with its feeders and all their data, and the accounts of people who belong to no other yard.
   * @param stays the person whose account stays in any case: who requests it; null: every account stays
   */
  removeYard(id: string, stays: string | null): Promise<RemovalResult>;
  /** Those whose state can be used; the others are in `damagedFeeders`. */
  feeders(): Promise<readonly FeederRow[]>;
  damagedFeeders(): Promise<readonly DamagedFeeder[]>;
  /** @throws FeederDamaged */
  feeder(id: string): Promise<FeederRow | null>;
  addFeeder(feeder: NewFeeder, now: Instant): Promise<void>;
  /** Removes the feeder and all its data; nothing of it stays in the database's file or its write-ahead log. */
  removeFeeder(id: string): Promise<void>;
  changeKeyHash(id: string, keyHash: string): Promise<void>;
  /** Which feeder has this key; the hash is hexadecimal SHA-256. */
  feederWithKey(keyHash: string): Promise<{ readonly id: string; readonly yard: string } | null>;
  /** For signed reports, where the feeder names itself. */
  keyHashOf(id: string): Promise<string | null>;
  /** Feeders that are due for a periodic check, the longest overdue first. */
  dueForCheck(now: Instant, most: number): Promise<readonly string[]>;
}

export interface NewFeeder {
  readonly id: string;
  readonly yard: string;
  readonly keyHash: string;
  readonly practice: boolean;
  readonly state: FeederState;
  readonly firstEntry: string; // the first line of its log
}

export interface KeeperRow {
  readonly id: string;
  readonly name: string;
  readonly passphraseHash: string;
}

export interface SessionRow {
  readonly tokenHash: string;
  readonly keeper: { readonly id: string; readonly name: string };
  readonly createdAt: Instant;
  readonly lastSeenAt: Instant;
  readonly expiresAt: Instant;
}

/** Who may sign in, from which browsers, and on which phones people are notified. */
export interface KeeperStore extends PasskeyStore {
  countKeepers(): Promise<number>;
  /** There is one open first sign-in link: an older one is no longer valid. */
  openFirstSignIn(tokenHash: string, now: Instant): Promise<void>;
  isFirstSignInOpen(tokenHash: string): Promise<boolean>;
  /** Uses the first sign-in link and adds the keeper, both or neither. @returns false where no such link is open. */
  useFirstSignIn(tokenHash: string, keeper: KeeperRow, now: Instant): Promise<boolean>;
  /** Whether a person became the keeper by this link. */
  isUsedFirstSignIn(tokenHash: string): Promise<boolean>;
  /** By exactly this name, or else by one that differs only in case and invisible characters. */
  keeperNamed(name: string): Promise<KeeperRow | null>;
  /** @param session `device`: the kind of browser as text, where it is known */
  addSession(
    session: { tokenHash: string; keeper: string; device?: string; expiresAt: Instant },
    now: Instant,
  ): Promise<void>;
  session(tokenHash: string): Promise<SessionRow | null>;
  touchSession(tokenHash: string, lastSeenAt: Instant, expiresAt: Instant): Promise<void>;
  removeSession(tokenHash: string): Promise<void>;
  phonesOf(keeper: string): Promise<readonly Phone[]>;
  /** Phones whose endpoint was declared gone and that were neither renewed nor removed since, the newest first. */
  gonePhonesOf(keeper: string): Promise<readonly GonePhone[]>;
  /** Adds a phone, or updates a known endpoint; one with the same keys may change to another person. */
  savePhone(
    phone: Omit<Phone, "lastAcceptedAt" | "lastDisplayedAt" | "problem" | "blockedAt">,
  ): Promise<SavePhoneResult>;
  /**
   * Gives the phone of this person that has, or had until it was declared gone, the endpoint `replaces` a new one. It keeps its
   * id and its label (unless another is given), and needs a new display receipt. A phone that was removed by a person doesn't
   * come back.
   */
  renewPhone(
    of: { readonly keeper: string; readonly replaces: string; readonly label: string | null },
    by: Subscription,
    now: Instant,
  ): Promise<RenewPhoneResult>;
  /** Whether its browser may show notifications. @returns whether the person has such a phone */
  setPhoneAllowed(keeper: string, endpoint: string, allowed: boolean, now: Instant): Promise<boolean>;
  /** Also removes a phone that is gone from the list of those. */
  removePhone(keeper: string, endpoint: string, now: Instant): Promise<void>;
  /** Removes endpoints that were declared gone before that moment. */
  pruneGonePhones(before: Instant): Promise<void>;
  /** Removes sessions, invites and export keys that ended before that moment, and ids of actions that were done before it. */
  pruneSessions(before: Instant): Promise<void>;
}

/** Methods of the keeper's store with a transaction of their own, so they can't be part of another one. */
export type PhoneOperation =
  | "phonesOf"
  | "gonePhonesOf"
  | "savePhone"
  | "renewPhone"
  | "setPhoneAllowed"
  | "removePhone"
  | "pruneGonePhones";

// --- connections --------------------------------------------------------------------------------------------------

/** Feeders with an open socket. */
export interface FeederLink {
  /** @returns whether the feeder is connected and the orders were written to its socket. */
  sendOrders(feeder: string, orders: readonly SentOrder[]): boolean;
  /** @returns whether the feeder is connected and the plan was written to its socket. */
  sendPlan(feeder: string, plan: SentPlan | null): boolean;
  /** Ends its connection: its key is not valid any more. */
  disconnect(feeder: string): void;
}

/** What waits for a feeder, each at its topic of the keeper's broker, until the feeder is known to have it. */
export interface RetainedContent {
  readonly orders: readonly SentOrder[];
  readonly plan: SentPlan | null | undefined; // as in an answer; undefined: there is nothing to change
}

/** Orders and plans that a broker retains for feeders that are away. Without a broker nothing is retained. */
export interface RetainedMessages {
  /** @param content asked only where there is a broker */
  update(feeder: string, content: () => RetainedContent): void;
  /** False where the broker may still have messages from before this connection. */
  isKnown(feeder: string): boolean;
  /** Renews those that expire soon although they still wait. */
  renew(): void;
  /** The feeder is removed, or has another key. */
  clear(feeder: string): void;
}

/** Browsers of people that are connected for live changes. */
export interface LiveFeed {
  /** Sent to those who belong to the yard. */
  announceChange(yard: string, feeder: string | null, revision: number | null): void;
  /** A phone of this person was added or removed. */
  announcePhones(person: string): void;
  /** The yards of this person have changed: their browsers load them again. */
  reconnect(person: string): void;
  /**
   * Closes at once the live sockets of a session that has ended (by its token hash), or of all sessions of a person. To be called
   * after the commit that ends a session.
   */
  closeSocketsOf(whose: { readonly session: string } | { readonly person: string }): void;
  /** Token hashes of the sessions that have live sockets. */
  openSessions(): ReadonlySet<string>;
  /** Closes the sockets whose browser has not answered since the last call, and pings the others. */
  pingAll(): void;
}
