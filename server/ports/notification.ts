import type { Email } from "../domain/email/email.ts";
import type { Instant } from "../domain/instant.ts";
import type { NotificationContent } from "../domain/notification/content.ts";
import type { Escalation, OutgoingNotification, Recipients } from "../domain/notification/escalation.ts";
import type { DeliveryCapacity } from "../domain/push/fairShare.ts";
import type { EmailOutcome, PushOutcome, Settlement } from "../domain/push/outcome.ts";

/** How words get to people: what is on its way to whom, and who carries it. */

export interface Phone {
  readonly id: string;
  readonly keeper: string;
  readonly endpoint: string;
  readonly p256dh: string;
  readonly auth: string;
  readonly label: string;
  readonly addedAt: Instant;
  readonly lastAcceptedAt: Instant | null; // its push service took a notice
  readonly lastDisplayedAt: Instant | null; // its own worker said that a notice stood on the screen
  readonly problem: string | null;
  /** Since when its browser may not show notices any more, as it said itself; null: it may. */
  readonly blockedAt: Instant | null;
}

/** What a browser hands in to be pushed to. */
export interface Subscription {
  readonly endpoint: string;
  readonly p256dh: string;
  readonly auth: string;
}

/** A phone that had an endpoint until its push service declared that gone. */
export interface GonePhone {
  readonly endpoint: string;
  readonly label: string;
  readonly goneAt: Instant;
}

/**
 * `gone`: its push service has declared this endpoint gone. `taken`: another phone has it, and these keys don't show that it is
 * the same browser. `tooMany`: the person has `phonesPerPersonMax` already. `noSuchPhone`: the person has no phone that would be
 * renewed.
 */
export type SavePhoneResult = "saved" | "gone" | "taken" | "tooMany";
export type RenewPhoneResult = SavePhoneResult | "noSuchPhone";

/** A push service and its phones, or the mail server and a letterbox. */
export type Channel = OutboxItem["channel"];

/** A notice on its way to one screen: a phone, or a person's letterbox. */
export type OutboxItem = PushItem | EmailItem;

interface OutboxItemBase {
  readonly id: string; // random: whoever knows it was handed this very notice
  readonly person: string;
  readonly yard: string | null;
  readonly feeder: string | null;
  readonly content: NotificationContent;
  readonly writtenAt: Instant;
  readonly attempts: number; // deliveries begun before this claim
}
export interface PushItem extends OutboxItemBase {
  readonly channel: "push";
  readonly phone: Phone;
}
export interface EmailItem extends OutboxItemBase {
  readonly channel: "email";
  readonly to: string | null; // null: they have no address any more
  /** Names for the letter; the feeder's is null where it speaks of the yard, or is gone. */
  readonly yardName: string | null;
  readonly feederName: string | null;
}

export interface OutboxStore {
  /**
   * Takes up to `most` items of that channel that are due and unclaimed, until `claimUntil`; two callers never get the same one. An item
   * waits while an older one with its topic is under way to its screen, or the older could arrive last; and one that only
   * takes back what never arrived there is settled as needless instead of being handed out. Those that `fairShare` chooses, in
   * that order.
   * @param capacity what the caller has under way; none where it has room for all
   */
  claim(
    channel: Channel,
    now: Instant,
    claimUntil: Instant,
    most: number,
    capacity?: DeliveryCapacity,
  ): Promise<readonly OutboxItem[]>;
  /** Writes an item that is claimed from the start: for a keeper who waits to see whether it arrives. */
  startClaimed(phone: Phone, notice: NotificationContent, now: Instant, claimUntil: Instant): Promise<PushItem>;
  /**
   * Remembers how it ended. `phoneGone` also removes the phone with all that waits for it, and remembers its endpoint; where the
   * phone has a newer endpoint by then it stays, and the notice goes there. A call learns in the same commit that its last push
   * or letter reached nobody.
   */
  settle(item: OutboxItem, settlement: Settlement): Promise<void>;
  /** When the next item is due; null while nothing waits. */
  nextDueAt(): Promise<Instant | null>;
  /** Forgets what was settled before that moment, except of alarms that are still being told: what stands on a screen. */
  prune(settledBefore: Instant): Promise<void>;
}

/** The calls that time alone moves on; they are read and written in a `Transaction`. */
export interface EscalationStore {
  /** Topics of those that are due by now, the longest overdue first. */
  due(now: Instant, most: number): Promise<readonly string[]>;
  ofYard(yard: string): Promise<readonly Escalation[]>;
}

/** What of telling is written together with the facts that led to it. */
export interface NotificationTransaction {
  escalation(topic: string): Promise<Escalation | null>;
  /** Null removes it. */
  saveEscalation(topic: string, call: Escalation | null, nextAt: Instant | null): Promise<void>;
  /** Null where there is no such yard. */
  yardName(yard: string): Promise<string | null>;
  /** Null where there is no such yard. */
  recipients(yard: string): Promise<Recipients | null>;
  /**
   * Writes one item for each phone of that person that may show notices, or one for their letterbox. What waits there under the same topic is
   * replaced: only the newest word is worth telling.
   */
  enqueue(telling: OutgoingNotification, now: Instant): Promise<void>;
  /**
   * Marks the item, its phone where that still has the endpoint it was sent to, and when it stood on the screen; the first time counts. It arrived then, whatever became of
   * the attempt: it isn't tried again. A moment before it was written comes from a clock gone wrong, and counts as that.
   * @returns whose it is, what it was about and when it stood there; null where there is no such item
   */
  saveDisplayReceipt(item: string, at: Instant): Promise<DisplayReceipt | null>;
}

export interface DisplayReceipt {
  readonly person: string;
  readonly topic: string;
  readonly at: Instant;
}

export interface PushGateway {
  readonly publicKey: string; // VAPID, base64url
  /** @param item its id in the outbox: the phone says by it that the notice was shown */
  send(
    phone: Phone,
    feeder: string | null,
    notice: NotificationContent,
    now: Instant,
    item: string,
  ): Promise<PushOutcome>;
  /** Whether an endpoint may be pushed to at all: https, and a public address unless a setting allows others. */
  checkEndpoint(
    endpoint: string,
  ): Promise<{ readonly kind: "fine" } | { readonly kind: "refused"; readonly why: string }>;
}

/** The second channel to a person, for what no phone has shown. */
export interface EmailGateway {
  /** Whether a mail server is configured; where none is, every letter is refused. */
  readonly isConfigured: boolean;
  /**
   * Hands the letter to the mail server; what happens to it further on nobody tells us.
   * @param id the same at each attempt at the same letter, so that a mail program can tell a repeat
   * @param writtenAt when its words were written
   */
  send(to: string, letter: Email, id: string, writtenAt: Instant): Promise<EmailOutcome>;
}

/** Rung after a commit that wrote to the outbox, so that it need not wait for the next tick. */
export interface OutboxSignal {
  notify(): void;
}
