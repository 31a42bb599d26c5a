import type { FaultKind, Priority } from "../faults.ts";
import type { Instant, Span } from "../instant.ts";
import type { LocalTime } from "../localTime.ts";
import type { NotificationContent } from "./content.ts";

/**
 * A call is what people are being told about one alarm: whom it has reached, who is next, and what still stands on whose
 * screen. One for each feeder and fault, and one for a yard whose feeders fall silent together; plain bounded JSON.
 *
 * An alarm (alarms/) lives by what is wrong; its call lives by who knows. It ends a while after the alarm, so that one
 * that comes right back finds the people it had reached.
 */
export interface Escalation {
  readonly topic: string;
  readonly yard: string;
  readonly feeder: string | null; // null: it speaks of the yard
  readonly fault: FaultKind;
  readonly priority: NotifiedPriority;
  /** What it speaks of as its title begins: "Rowan", "Alder Croft". */
  readonly subjectName: string;
  /** The alarm's own moment: an answer given on a screen names it. */
  readonly raisedAt: Instant;
  /** From when it rings anew: raised, or worsened. What was shown or mailed before that was about something milder. */
  readonly renewedAt: Instant;
  readonly title: string;
  readonly body: string;
  /** Nobody is told before this: whether it is one feeder's silence or the yard's is not known yet. */
  readonly holdUntil: Instant | null;
  /** People up to this turn are told as soon as they can be; 0: nobody's has come yet. */
  readonly level: number;
  /** When that turn came; the next one's time is counted from here. */
  readonly levelAt: Instant;
  readonly recipientStates: readonly RecipientState[];
  readonly acknowledgedBy: string | null; // a name, as it is said
  /** The alarm asks for nothing any more; null while it stands. */
  readonly endedAt: Instant | null;
  /** Good news for those who know of it by mail alone and sleep just now. */
  readonly news: EscalationNews | null;
  /** Nobody has been told, since there is nobody who could be: the keeper's own screen must say so. */
  readonly unreachable: boolean;
  /** The topic of the call that speaks for this one, of another feeder in the same night (nightGroup.ts): this one tells nobody. */
  readonly groupedUnder: string | null;
  /** Names of the feeders for which this one speaks besides its own. */
  readonly alsoFeeders: readonly string[];
  /** For a yard: its feeders that are silent now. Else empty. */
  readonly silentFeeders: readonly SilentFeeder[];
}

export interface EscalationNews {
  readonly title: string;
  readonly body: string;
}

/** A feeder that a yard's call speaks of, with what its own call would say: it may become that again. */
export interface SilentFeeder {
  readonly feeder: string;
  readonly name: string;
  readonly topic: string;
  readonly lastReportAt: Instant;
  readonly raisedAt: Instant;
  readonly title: string;
  readonly body: string;
}

/** One person whom a call has reached. */
export interface RecipientState {
  readonly person: string;
  /** How often it rang for this raise: 0 where only an earlier one did. */
  readonly timesNotified: number;
  readonly firstNotifiedAt: Instant;
  readonly lastNotifiedAt: Instant;
  /** From when the next gap counts: `lastAt`, later by what the alarm was away in between. */
  readonly reminderCountedFrom: Instant;
  readonly pushedAt: Instant | null;
  readonly displayedAt: Instant | null; // a phone of theirs last proved that it showed a notice of this call
  readonly emailedAt: Instant | null;
  /** When the last push was known to have reached no phone: each is gone or refused it for good. Absent: not so. */
  readonly pushLostAt?: Instant | null;
  /** When the mail server refused the last letter for good. Absent: not so. */
  readonly emailLostAt?: Instant | null;
  /** Knows of it by mail alone, and is owed the news that it is over or that somebody has seen it. */
  readonly awaitsEndNews: boolean;
}

/** Somebody of the yard's circle, as far as telling goes. */
export interface Recipient {
  readonly id: string;
  readonly name: string;
  readonly escalationOrder: number; // 1 is told first; several may share a turn
  readonly quietHours: QuietHours | null;
  /** Whether an urgent call may ring within the quiet hours. */
  readonly urgentBreaks: boolean;
  readonly phoneCount: number; // that take pushes
  /** When the newest of these phones was added, got its present endpoint, or was allowed to show notices again. */
  readonly phonesSince?: Instant | null;
  readonly email: string | null;
  /** When that address was given. */
  readonly emailSince?: Instant | null;
}

/** By the yard's own clock; `from` later than `to` spans midnight, both the same is none. */
export interface QuietHours {
  readonly from: LocalTime;
  readonly to: LocalTime;
}

/** Everybody who may be told of a yard's alarms. */
export interface Recipients {
  readonly zone: string;
  readonly people: readonly Recipient[];
  /** How long an urgent call waits for an answer before it goes on to the next turn. */
  readonly escalateAfter: Span;
}

/** One word to one person, ready for the outbox; `feeder` null where it speaks of the yard. */
export interface OutgoingNotification {
  readonly person: string;
  readonly channel: "push" | "email";
  readonly yard: string;
  readonly feeder: string | null;
  readonly content: NotificationContent;
  /** By push: only to phones that can be reached since a later moment than this. Absent: to all of them. */
  readonly phonesAfter?: Instant;
}

/** What a call is after a step, whom to tell, and when to look again (strictly later than now); null: not by time alone. */
export interface EscalationStep {
  readonly escalation: Escalation | null; // null: nothing to remember any more
  readonly notifications: readonly OutgoingNotification[];
  readonly nextAt: Instant | null;
}

/** Whose alarm a word is about. */
export interface AlarmSource {
  readonly yard: string;
  readonly feeder: string | null; // null: the yard itself
  readonly topic: string; // of alarms/notices.ts
  readonly name: string; // as its titles begin
}

/** What calls a person; a `note` waits for the digest. */
export type NotifiedPriority = Exclude<Priority, "note">;

/** What became of an alarm, as far as people are told of it. */
export type AlarmEvent =
  | {
      readonly kind: "raised";
      readonly fault: FaultKind;
      readonly priority: NotifiedPriority;
      readonly at: Instant;
      readonly title: string;
      readonly body: string;
      /** It had just gone and nobody had acknowledged it: the screens are corrected, and nobody is woken a second time. */
      readonly sameEpisode: boolean;
    }
  /** It stands already, and grew graver by what it now explains. */
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
  /** Shelved, suppressed or taken out of service: whoever was told is asked for nothing any more. */
  | { readonly kind: "suppressed"; readonly fault: FaultKind; readonly at: Instant; readonly text: string };
