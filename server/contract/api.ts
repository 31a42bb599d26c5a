import type { z } from "zod";
import type { AlarmState } from "../domain/alarms/alarmStates.ts";
import type { FoodKind } from "../domain/food.ts";
import type { OpenInviteView } from "./accountViews.ts";
import type { PracticeProgrammeView } from "./practiceView.ts";
import type { DigestChannel, feederSettingsRequest, PracticeFault, Role } from "./requests.ts";

/**
 * What the keeper's client sends (requests.ts) and gets. Answers (`…View`) are plain types, since we make them ourselves.
 * Times are ISO 8601 in UTC; units are in the names.
 */

export type * from "./accountViews.ts";
export type * from "./comparisonView.ts";
export type * from "./dayView.ts";
export type * from "./historyView.ts";
export type * from "./planView.ts";
export type { PortionsView } from "./portionsView.ts";
export type * from "./practiceView.ts";
export type * from "./reportView.ts";
export * from "./requests.ts";
export type * from "./stillView.ts";
export type * from "./trainingView.ts";

export interface HomeView {
  readonly keeper: MeView;
  readonly yards: readonly YardView[];
  readonly serverTime: string;
  /** Whether this server runs a practice feeder just now. */
  readonly practice: {
    readonly running: boolean;
    readonly fault: PracticeFault;
    /** The practice yard that lives a whole training programme; null: there is none. */
    readonly programme: PracticeProgrammeView | null;
  };
  /** What a keeper can choose from as food. */
  readonly foods: readonly FoodView[];
  /** What is wrong with the server's database as a whole, as text; null while nothing is known to be. */
  readonly storageProblem: string | null;
}

/** Who is signed in. */
export interface MeView {
  readonly id: string;
  readonly name: string;
  readonly email: string | null;
  /** Whether this server can send e-mails. */
  readonly canEmail: boolean;
}

export interface FoodView {
  readonly kind: FoodKind;
  readonly name: string; // "peanut halves"
  /** A first guess from memory, to be corrected by weighing; null where nothing is known of such a piece. */
  readonly pieceGrams: number | null;
}

export interface YardView {
  readonly id: string;
  readonly name: string;
  readonly zone: string; // in which times are shown
  /** The zone that is stored, where it can't be used and UTC is used instead; null where it can. */
  readonly unusableZone: string | null;
  readonly place: { readonly latitudeDegrees: number; readonly longitudeDegrees: number } | null;
  readonly digestTime: string; // local, such as 07:30
  readonly digestWanted: boolean;
  readonly practice: boolean;
  /** How long an urgent alarm waits for one person before the next one is notified. */
  readonly escalateMinutes: number;
  /** For so many days a still of a camera is kept, where it has no star. */
  readonly stillsKeptDays: number;
  /** While a bird-disease notice is in force all its feeders stay paused; null: there is none. */
  readonly diseaseNotice: { readonly at: string; readonly by: string } | null;
  readonly role: Role; // of the person who is signed in
  readonly peopleCount: number;
  /** The escalations that are active now, the newest first. */
  readonly escalations: readonly EscalationView[];
  readonly feeders: readonly FeederView[];
  /** Feeders whose stored state is damaged: nothing of them can be shown until it is rebuilt. */
  readonly damagedFeeders: readonly { readonly id: string; readonly name: string; readonly text: string }[];
}

/** Who has been notified of an alarm so far. */
export interface EscalationView {
  readonly feeder: string | null; // null: it is about the yard, whose feeders became silent together
  readonly fault: string;
  readonly title: string;
  readonly raisedAt: string;
  readonly recipientStates: readonly {
    readonly name: string;
    readonly lastNotifiedAt: string;
    readonly displayedAt: string | null; // when one of their phones confirmed that its screen showed it
    readonly emailedAt: string | null;
  }[];
  readonly acknowledgedBy: string | null;
  /** Nobody was notified, since nobody can be: only this page shows it. */
  readonly unreachable: boolean;
}

/** One feeder, whole: small enough (about 3 kB) that lists carry it too, and the client keeps one shape offline. */
export interface FeederView {
  readonly id: string;
  readonly yard: string;
  readonly revision: number; // grows by one with each stored change
  readonly name: string;
  readonly practice: boolean;
  readonly settings: z.infer<typeof feederSettingsRequest>;
  readonly lastReportAt: string | null;
  readonly missingEvents: number; // numbered by the feeder, and never arrived
  readonly numberingJumps: number; // its numbers went on by more than it can have had events
  /** Names among its latest readings that aren't known, each with the one that is probably meant. */
  readonly unknownReadings: readonly { readonly name: string; readonly suggestion: string | null }[];
  readonly readings: ReadingsView | null; // null until the first report
  readonly hopper: HopperView;
  readonly alarms: readonly AlarmView[]; // highest priority first, without suspected ones
  readonly pause: PauseView;
  readonly cleanedAt: string | null; // null while nobody has entered it
  /** What can't be detected or distinguished with the fitted sensors, each in a sentence; empty where nothing is missing. */
  readonly blindSpots: readonly string[];
  /** What only a keeper knows and other figures depend on; `link` is the page where it is entered. */
  readonly questions: readonly QuestionView[];
  /** One sentence that says how the feeder is, for lists and for the screen reader. */
  readonly summary: string;
  /** Until when `summary` may state that all is well if no report follows; null where it doesn't. */
  readonly summaryValidUntil: string | null;
}

export interface QuestionView {
  readonly text: string;
  readonly link: string;
}

export interface ReadingsView {
  readonly at: string;
  readonly hopperGrams: number | null;
  readonly airCelsius: number | null;
  readonly insideCelsius: number | null;
  readonly lidCelsius: number | null;
  readonly humidityPercent: number | null;
  readonly supplyVolts: number | null;
  readonly batteryVolts: number | null;
  readonly batteryCelsius: number | null;
  readonly chargeMilliamps: number | null;
  readonly signalDbm: number | null;
  readonly spooled: number | null;
  readonly paused: boolean | null;
}

export interface HopperView {
  readonly capacityGrams: number;
  readonly capacityAssumed: boolean; // the capacity was not entered: a usual one is used
  /** Null until a scale or a refill has given a first level. */
  readonly level: { readonly grams: number; readonly low: number; readonly high: number } | null; // 90 % interval
  readonly portionGrams: number; // as learnt so far
  readonly portionText: string; // "A portion weighs about 1.6 g, measured by the scale (entered: 1.5 g)."
  readonly emptyForecast: {
    readonly p10: string | null;
    readonly p50: string | null;
    readonly p90: string | null;
  } | null;
  readonly text: string; // "very likely enough until Thursday"
}

export interface AlarmView {
  readonly fault: string;
  readonly title: string;
  readonly priority: "urgent" | "soon" | "note";
  readonly state: Exclude<AlarmState, "normal" | "suspected">;
  readonly reason: string;
  readonly advice: string;
  /** What can be done from afar, where the advice names it. */
  readonly act: "refill" | "pause" | null;
  readonly since: string;
  readonly shelvedUntil: string | null;
  readonly raisedAt: string | null; // null where it was never raised, or is suppressed
  /** Titles of the alarms that it is shown instead of. */
  readonly explains: readonly string[];
  /** The title of the alarm that is shown instead of this one. */
  readonly explainedBy: string | null;
  readonly outOfService: { readonly by: string; readonly since: string; readonly reason: string } | null;
  readonly evidence: readonly { readonly label: string; readonly value: string; readonly at: string | null }[];
}

export interface PauseView {
  /** What the feeder itself last reported, and when. */
  readonly statement: { readonly paused: boolean; readonly at: string } | null;
  /** The last food that it gave, and when. */
  readonly lastPortion: {
    readonly at: string;
    readonly cause: "timer" | "press" | "deposit" | "keeper" | "bench";
  } | null;
  /** What follows from both: never better than what the feeder itself last reported or did. */
  readonly status: PauseStatusView;
  readonly order: OrderView | null; // the newest order
  /** Why a pause that the feeder had confirmed is not known to hold any more; null while it is. */
  readonly lost: {
    readonly by: "restart" | "statement" | "portion";
    readonly since: string;
    readonly confirmedAt: string;
    readonly portions: number; // given since it had confirmed
  } | null;
}

/**
 * `endedUnconfirmed`: a pause was to end by itself at `at`, and the feeder has confirmed nothing since. `unknown`: it never
 * reported whether it feeds, or (`at`) not since it restarted.
 */
export type PauseStatusView =
  | { readonly kind: "paused" | "feeding" | "endedUnconfirmed"; readonly at: string }
  | { readonly kind: "unknown"; readonly at: string | null };

/** What became of one order for a whole yard. */
export interface YardOrderView {
  readonly feeders: readonly FeederView[]; // those that got the order
  /** Ids of feeders that a resume skips: on the bench or put away, where hands may be in them. */
  readonly skippedFeeders: readonly string[];
}

export interface OrderView {
  readonly id: string;
  readonly kind: "pause" | "resume";
  /**
   * `ended`: its time is over. `contradicted`: the feeder confirmed it, and then reported or did the opposite.
   */
  readonly status: "requested" | "sent" | "overdue" | "confirmed" | "refused" | "superseded" | "ended" | "contradicted";
  readonly until: string | null;
  readonly requestedAt: string;
  readonly requestedBy: string;
  readonly sentAt: string | null;
  readonly answeredAt: string | null;
  readonly problem: string | null;
}

/** The key is shown this once; only its hash is stored. */
export interface AddedFeederView {
  readonly feeder: FeederView;
  readonly key: string;
}

export interface PhonesView {
  readonly publicKey: string; // VAPID, base64url
  readonly phones: readonly PhoneView[];
  readonly phonesMax: number; // phones that one person may have
  /** Phones that no longer receive notifications, since their push service has declared the endpoint gone; the newest first. */
  readonly gone: readonly { readonly endpoint: string; readonly label: string; readonly goneAt: string }[];
}
export interface PhoneView {
  readonly id: string;
  readonly endpoint: string;
  readonly label: string;
  readonly addedAt: string;
  readonly lastAcceptedAt: string | null; // when its push service last accepted a notification
  readonly lastDisplayedAt: string | null; // when it last confirmed that its screen showed a notification
  readonly problem: string | null;
  readonly blockedAt: string | null; // when its browser reported that notifications are blocked
  readonly reachability: ReachabilityView;
}
/**
 * `confirmed`: it showed a notification lately. `unconfirmed`: its push service accepted one since, without a display receipt.
 * `lost`: its push service accepts none. `text` is the same as a sentence.
 */
export interface ReachabilityView {
  readonly kind: "confirmed" | "unconfirmed" | "lost";
  readonly text: string;
}

/** Who belongs to a yard, in the order in which they are notified. */
export interface PeopleView {
  readonly yard: string;
  readonly people: readonly PersonView[];
  readonly invites: readonly OpenInviteView[]; // for keepers; else empty
}
export interface PersonView {
  readonly id: string;
  readonly name: string;
  readonly you: boolean;
  readonly role: Role;
  readonly escalationOrder: number; // 1 is notified first
  readonly quietHours: { readonly from: string; readonly to: string } | null; // local times of the yard
  readonly urgentBreaks: boolean;
  readonly digestBy: DigestChannel;
  readonly phones: number;
  readonly hasEmail: boolean; // the address itself is theirs alone
  /** How they can be reached now: the best of their phones, or what is missing. */
  readonly reachability: ReachabilityView;
}
/** Shown this once; only its hash is stored. The link is `<home>/join#<token>`. */
export interface InviteView {
  readonly token: string;
  readonly expiresAt: string;
}
export interface JoinedView {
  readonly keeper: { readonly name: string };
  readonly yard: { readonly id: string; readonly name: string };
}
export interface TestEmailView {
  readonly outcome: "accepted" | "tryLater" | "refused";
  readonly text: string;
}

export interface TestPushView {
  /** By phone: what its push service answered. */
  readonly outcomes: readonly {
    readonly label: string;
    readonly outcome: "accepted" | "gone" | "tryLater" | "refused";
    readonly text: string;
  }[];
}

/** A yard's day as text, as it was sent that morning. */
export interface DigestView {
  readonly yard: string;
  readonly date: string; // local
  readonly title: string; // as pushed: "Alder Croft, today: 2 things to do"
  readonly summary: string; // the same without yard and day: "2 things to do"
  readonly sections: readonly DigestSectionView[];
  /** Local dates of which there are digests, the newest first, this one among them if it is new enough; at most `digestsKept`. */
  readonly dates: readonly string[];
}
/** `links`: the page for each line; left out where the lines only inform. */
export interface DigestSectionView {
  readonly heading: string;
  readonly lines: readonly string[];
  readonly links?: readonly string[];
}
/** Today's and those of the last seven days. */
export const digestsKept = 8;

/** How often a yard's alarms were raised over about a month, and what follows from it. */
export interface RatesView {
  readonly yard: string;
  readonly from: string;
  readonly to: string;
  readonly texts: readonly string[];
  /** What to change, the most important first, each with the name of its alarm; empty where nothing is to be changed. */
  readonly findings: readonly string[];
  readonly days: readonly RatesDayView[];
  /** Of all that were raised: urgent ones and those that can wait. */
  readonly acknowledgedCount: number;
  readonly frequentAlarms: readonly {
    readonly name: string;
    readonly alarmCount: number;
    readonly sharePercent: number;
  }[];
}
export interface RatesDayView {
  readonly date: string; // local
  readonly urgent: number;
  readonly soon: number;
  readonly notes: number; // no alarms, for the digest
}

/** Over the live socket, to browsers. */
export type LiveMessage =
  /** Something about this feeder (or about the yard, null) changed. */
  | { readonly kind: "changed"; readonly feeder: string | null; readonly revision: number | null }
  /** A phone of this person was added or removed. */
  | { readonly kind: "phones" }
  /** The answer to `{"kind":"ping"}`: browsers can't send a socket's own pings. */
  | { readonly kind: "pong" };

/** What the service worker is handed in a push. */
export type { PushPayload } from "../domain/push/payload.ts";

/** RFC 9457; `errors` names each wrong field. */
export interface ProblemView {
  readonly type: string;
  readonly title: string;
  readonly status: number;
  readonly detail: string;
  readonly errors?: readonly { readonly field: string; readonly problem: string }[];
}
