import type { Email } from "../domain/email/email.ts";
import type { Instant } from "../domain/instant.ts";
import type { NotificationContent } from "../domain/notification/content.ts";
import type { Escalation, OutgoingNotification, Recipients } from "../domain/notification/escalation.ts";
import type { DeliveryCapacity } from "../domain/push/fairShare.ts";
import type { EmailOutcome, PushOutcome, Settlement } from "../domain/push/outcome.ts";

/** Phones, the outbox, escalations, and the gateways that send notifications. */

export interface Phone {
  readonly id: string;
  readonly keeper: string;
  readonly endpoint: string;
  readonly p256dh: string;
  readonly auth: string;
  readonly label: string;
  readonly addedAt: Instant;
  readonly lastAcceptedAt: Instant | null; // its push service accepted a notification
  readonly lastDisplayedAt: Instant | null; // its last display receipt
  readonly problem: string | null;
  /** Since when its browser may not show notifications, as it reported; null: it may. */
  readonly blockedAt: Instant | null;
}

/** How pushes reach a browser. */
export interface Subscription {
  readonly endpoint: string;
  readonly p256dh: string;
  readonly auth: string;
}

/** A phone whose endpoint was declared gone by its push service. */
export interface GonePhone {
  readonly endpoint: string;
  readonly label: string;
  readonly goneAt: Instant;
}

/**
 * `gone`: its push service has declared this endpoint gone. `taken`: another phone has it, and these keys don't show that it is
 * the same browser. `tooMany`: the person has `phonesPerPersonMax` already. `noSuchPhone`: the person has no such phone.
 */
export type SavePhoneResult = "saved" | "gone" | "taken" | "tooMany";
export type RenewPhoneResult = SavePhoneResult | "noSuchPhone";

/** How a notification is sent. */
export type Channel = OutboxItem["channel"];

/** A notification on its way to one phone or one e-mail address. */
export type OutboxItem = PushItem | EmailItem;

interface OutboxItemBase {
  readonly id: string; // random: a display receipt proves by it that the phone got this item
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
  /** Names for the e-mail; the feeder's is null where it is about the yard, or the feeder was removed. */
  readonly yardName: string | null;
  readonly feederName: string | null;
}

export interface OutboxStore {
  /**
   * Claims up to `most` items of the channel that are due and unclaimed, until `claimUntil`; two callers never get the same one. An
   * item waits while an older one of its topic is being sent to its screen, or the older could arrive last. One that only closes
   * what never arrived there is settled as needless and not returned. `fairShare` chooses and orders them.
   * @param capacity what the caller is sending already; left out where there are no limits
   */
  claim(
    channel: Channel,
    now: Instant,
    claimUntil: Instant,
    most: number,
    capacity?: DeliveryCapacity,
  ): Promise<readonly OutboxItem[]>;
  /** Writes an item that is claimed from the start, for a test that a keeper waits for. */
  startClaimed(phone: Phone, content: NotificationContent, now: Instant, claimUntil: Instant): Promise<PushItem>;
  /**
   * Records how the delivery ended. `phoneGone` also removes the phone with its waiting items, and records its endpoint; a phone that
   * has a newer endpoint by then stays, and the item is sent there. The escalation records in the same commit that its last push or
   * e-mail did not arrive.
   */
  settle(item: OutboxItem, settlement: Settlement): Promise<void>;
  /** When the next item is due; null while nothing waits. */
  nextDueAt(): Promise<Instant | null>;
  /** Deletes what was settled before that moment, except items of active escalations: a screen may still show those. */
  prune(settledBefore: Instant): Promise<void>;
}

/** Escalations that are due; they are read and written in a `Transaction`. */
export interface EscalationStore {
  /** Topics of those that are due by now, the longest overdue first. */
  due(now: Instant, most: number): Promise<readonly string[]>;
  ofYard(yard: string): Promise<readonly Escalation[]>;
}

/** What is written about notifications in one commit with the facts that led to them. */
export interface NotificationTransaction {
  escalation(topic: string): Promise<Escalation | null>;
  /** Null removes it. */
  saveEscalation(topic: string, escalation: Escalation | null, nextAt: Instant | null): Promise<void>;
  /** Null where there is no such yard. */
  yardName(yard: string): Promise<string | null>;
  /** Null where there is no such yard. */
  recipients(yard: string): Promise<Recipients | null>;
  /**
   * Writes one item for each phone of the person that may show notifications, or one for their e-mail address. It replaces waiting
   * items of the same topic.
   */
  enqueue(notification: OutgoingNotification, now: Instant): Promise<void>;
  /**
   * Records when the item was displayed, the first time only, and for its phone where that still has the endpoint it was sent to. The
   * item has arrived then, whatever its attempt returned, and isn't sent again. A moment before it was written comes from a wrong clock
   * and counts as that moment.
   * @returns null where there is no such item
   */
  saveDisplayReceipt(item: string, at: Instant): Promise<DisplayReceipt | null>;
}

export interface DisplayReceipt {
  readonly person: string;
  readonly topic: string;
  readonly at: Instant;
}

export type EndpointCheck = { readonly kind: "allowed" } | { readonly kind: "refused"; readonly reason: string };

export interface PushGateway {
  readonly publicKey: string; // VAPID, base64url
  /** @param item its id in the outbox, for the display receipt */
  send(
    phone: Phone,
    feeder: string | null,
    content: NotificationContent,
    now: Instant,
    item: string,
  ): Promise<PushOutcome>;
  /** Whether pushes may be sent to an endpoint: https, and a public address unless a setting allows others. */
  checkEndpoint(endpoint: string): Promise<EndpointCheck>;
}

/** The second channel to a person, for what no phone has displayed. */
export interface EmailGateway {
  /** Whether a mail server is configured; where none is, every e-mail is refused. */
  readonly isConfigured: boolean;
  /**
   * Hands the e-mail to the mail server; what happens to it then isn't known.
   * @param id the same at each attempt for the same e-mail, so that a mail program recognizes a repeat
   * @param writtenAt the date of the e-mail
   */
  send(to: string, email: Email, id: string, writtenAt: Instant): Promise<EmailOutcome>;
}

/** Notified after a commit that wrote to the outbox, so that delivery need not wait for the next tick. */
export interface OutboxSignal {
  notify(): void;
}
