import type { EmailSection } from "../email/email.ts";
import type { FaultKind, Priority } from "../faults.ts";
import type { Instant, Span } from "../instant.ts";

/** What one message to a keeper contains. Its push form (size, topic, headers) is made in push/. */
export interface NotificationContent extends NotificationExtras {
  readonly fault: FaultKind | null; // null for a test or a digest
  readonly priority: Priority;
  readonly title: string;
  readonly body: string;
  /** A newer notification with the same topic replaces this one, on the way and on the screen. */
  readonly topic: string;
  readonly timeToLive: Span;
  readonly silent: boolean; // replaces without a sound: an end or an acknowledgement need not wake anyone
  /** When its alarm was raised: a response on the screen means this raise. Left out where it is about no alarm. */
  readonly raisedAt?: Instant;
  /** The buttons on the screen; left out: none. */
  readonly actions?: readonly NotificationAction[];
  /** The alarm that a response goes to, where the notification is about a whole yard: to acknowledge one acknowledges all. */
  readonly actionTarget?: { readonly feeder: string; readonly raisedAt: Instant };
  /** Its alarm needs no response any more: the notification on the screen is removed or corrected. */
  readonly isClosing?: true;
}

/** More of a notification, where there is space or a page for it. */
export interface NotificationExtras {
  /** The page that it opens, such as `/yards/y1/digest`; left out: its feeder's page, or the home page. */
  readonly link?: string;
  /** Path of a picture of what it is about, looked up when it is sent; left out: none. */
  readonly image?: string;
  /** The sections of its e-mail; left out: the body. */
  readonly emailSections?: readonly EmailSection[];
}

export type NotificationAction = "acknowledge" | "pause";
