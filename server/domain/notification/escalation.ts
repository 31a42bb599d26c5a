import type { FaultKind, Priority } from "../faults.ts";
import type { Instant, Span } from "../instant.ts";
import type { LocalTime } from "../localTime.ts";
import type { NotificationContent } from "./content.ts";

/**
 * Notifying people of one alarm: who was reached, who is next, and what their screens still show. One for each feeder and fault,
 * and one for a yard whose feeders stop reporting together; plain bounded JSON.
 *
 * An alarm (alarms/) follows the fault; its escalation follows who knows of it. It ends a while after the alarm, so that an alarm
 * that comes back soon finds the people it had reached.
 */
export interface Escalation {
  readonly topic: string;
  readonly yard: string;
  readonly feeder: string | null; // null: it is about the yard
  readonly fault: FaultKind;
  readonly priority: NotifiedPriority;
  /** Its subject as the title begins: "Rowan", "Alder Croft". */
  readonly subjectName: string;
  /** When the alarm was raised: a response on a screen names it. */
  readonly raisedAt: Instant;
  /** When it was raised or its priority rose. What was displayed or sent before had a lower priority. */
  readonly renewedAt: Instant;
  readonly title: string;
  readonly body: string;
  /** Nobody is notified before this: it is not known yet whether one feeder or the yard has stopped reporting. */
  readonly holdUntil: Instant | null;
  /** People up to this level are notified as soon as they may be; 0: no level yet. */
  readonly level: number;
  /** When that level was reached; the time of the next one counts from here. */
  readonly levelAt: Instant;
  readonly recipientStates: readonly RecipientState[];
  readonly acknowledgedBy: string | null; // a name, as displayed
  /** The alarm needs no response any more; null while it is active. */
  readonly endedAt: Instant | null;
  /** The end or the acknowledgement, for people who know of the alarm by e-mail only and have quiet hours now. */
  readonly news: EscalationNews | null;
  /** Nobody was notified, since nobody can be reached: the keeper's screen must show that. */
  readonly unreachable: boolean;
  /** The topic of another feeder's escalation that covers this one in the same night (groupedIce.ts): this one notifies nobody. */
  readonly groupedUnder: string | null;
  /** Names of the other feeders that this one covers. */
  readonly alsoFeeders: readonly string[];
  /** For a yard: its feeders without reports now. Else empty. */
  readonly silentFeeders: readonly SilentFeeder[];
}

export interface EscalationNews {
  readonly title: string;
  readonly body: string;
}

/** A feeder of a yard's escalation, with the text of its own escalation: it may become that again. */
export interface SilentFeeder {
  readonly feeder: string;
  readonly name: string;
  readonly topic: string;
  readonly lastReportAt: Instant;
  readonly raisedAt: Instant;
  readonly title: string;
  readonly body: string;
}

/** What one recipient has got of an escalation. */
export interface RecipientState {
  readonly person: string;
  /** Number of notifications of this raise: 0 where there were only earlier ones. */
  readonly timesNotified: number;
  readonly firstNotifiedAt: Instant;
  readonly lastNotifiedAt: Instant;
  /** From when the next gap counts: `lastNotifiedAt`, later by the time that the alarm was absent in between. */
  readonly reminderCountedFrom: Instant;
  readonly pushedAt: Instant | null;
  readonly displayedAt: Instant | null; // the last display receipt of their phones for this escalation
  readonly emailedAt: Instant | null;
  /** When the last push was known to have reached no phone: each is gone or refused it for good. Left out: not lost. */
  readonly pushLostAt?: Instant | null;
  /** When the mail server refused the last e-mail for good. Left out: not lost. */
  readonly emailLostAt?: Instant | null;
  /** Knows of it by e-mail only, and has to get the news of its end or its acknowledgement. */
  readonly awaitsEndNews: boolean;
}

/** One of a yard's recipients, as far as notification needs it. */
export interface Recipient {
  readonly id: string;
  readonly name: string;
  readonly escalationOrder: number; // 1 is notified first; several may share a level
  readonly quietHours: QuietHours | null;
  /** Whether an urgent alarm may notify within the quiet hours. */
  readonly urgentBreaks: boolean;
  readonly phoneCount: number; // phones that accept pushes
  /** When the newest of these phones was added, got its present endpoint, or was allowed to show notifications again. */
  readonly phonesSince?: Instant | null;
  readonly email: string | null;
  /** When that address was entered. */
  readonly emailSince?: Instant | null;
}

/** In the yard's time zone; `from` later than `to` spans midnight, both the same is none. */
export interface QuietHours {
  readonly from: LocalTime;
  readonly to: LocalTime;
}

/** Everybody who may be notified of a yard's alarms. */
export interface Recipients {
  readonly zone: string;
  readonly people: readonly Recipient[];
  /** How long an urgent escalation waits for an acknowledgement before the next level. */
  readonly escalateAfter: Span;
}

/** One message to one person, ready for the outbox; `feeder` null where it is about the yard. */
export interface OutgoingNotification {
  readonly person: string;
  readonly channel: "push" | "email";
  readonly yard: string;
  readonly feeder: string | null;
  readonly content: NotificationContent;
  /** By push: only to phones that were added or renewed after this. Left out: to all of them. */
  readonly phonesAfter?: Instant;
}

/** An escalation after a step, whom to notify, and when to check again (strictly later than now); null: time alone changes nothing. */
export interface EscalationStep {
  readonly escalation: Escalation | null; // null: it is removed
  readonly notifications: readonly OutgoingNotification[];
  readonly nextAt: Instant | null;
}

/** The source of an alarm. */
export interface AlarmSource {
  readonly yard: string;
  readonly feeder: string | null; // null: the yard itself
  readonly topic: string; // of alarms/alarmTopic.ts
  readonly name: string; // as its titles begin
}

/** What escalations a person; a `note` waits for the digest. */
export type NotifiedPriority = Exclude<Priority, "note">;

/** A change of an alarm that notification reacts to. */
export type AlarmEvent =
  | {
      readonly kind: "raised";
      readonly fault: FaultKind;
      readonly priority: NotifiedPriority;
      readonly at: Instant;
      readonly title: string;
      readonly body: string;
      /** It had ended a short time ago, unacknowledged: the screens are corrected without a second sound. */
      readonly sameEpisode: boolean;
    }
  /** It is active already, and its priority rose by what it now explains. */
  | {
      readonly kind: "worsened";
      readonly fault: FaultKind;
      readonly priority: NotifiedPriority;
      readonly at: Instant;
      readonly raisedAt: Instant;
      readonly title: string;
      readonly body: string;
    }
  | { readonly kind: "acknowledged"; readonly fault: FaultKind; readonly at: Instant; readonly by: string }
  | {
      readonly kind: "returned";
      readonly fault: FaultKind;
      readonly at: Instant;
      readonly title: string;
      readonly body: string;
    }
  /** Shelved, suppressed or taken out of service: no response is needed any more. */
  | { readonly kind: "suppressed"; readonly fault: FaultKind; readonly at: Instant; readonly text: string };
