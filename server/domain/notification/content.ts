import type { EmailSection } from "../email/email.ts";
import type { FaultKind, Priority } from "../faults.ts";
import type { Instant, Span } from "../instant.ts";

/** Words for the keeper's phones. Its push form (size, topic, headers) is made in push/. */
export interface NotificationContent extends NotificationExtras {
  readonly fault: FaultKind | null; // null for a test or a digest
  readonly priority: Priority;
  readonly title: string;
  readonly body: string;
  /** A newer notice with the same topic replaces this one on the way and on the screen. */
  readonly topic: string;
  readonly timeToLive: Span;
  readonly silent: boolean; // replace without sound: good news need not wake anyone
  /** When the alarm was raised that it speaks of: an answer given on the screen means this very one. Left out where it isn't one. */
  readonly raisedAt?: Instant;
  /** What can be answered on the screen itself; left out: nothing. */
  readonly actions?: readonly NotificationAction[];
  /** Whose alarm an answer goes to, where the notice speaks of a whole yard: to acknowledge one is to have seen why. */
  readonly actionTarget?: { readonly feeder: string; readonly raisedAt: Instant };
  /** Its alarm asks for nothing any more: what stands on the screen about it is taken away or set right. */
  readonly isClosing?: true;
}

/** More of a notice, for what has room or a page for it. */
export interface NotificationExtras {
  /** The page that it opens, such as `/yards/y1/digest`; left out: its feeder's page, or the first one. */
  readonly opens?: string;
  /** What stands in its letter; left out: the body. */
  readonly emailSections?: readonly EmailSection[];
}

export type NotificationAction = "acknowledge" | "pause";
