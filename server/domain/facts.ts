import type { FaultKind, Priority } from "./faults.ts";
import type { FeederSettings } from "./feeder.ts";
import type { Instant, Span } from "./instant.ts";
import type { LetterPart } from "./letters/letter.ts";
import type { Order } from "./orders/order.ts";
import type { RefusedBecause } from "./reportFaults.ts";
import type { CallPriority, CallWord } from "./telling/call.ts";
import type { Celsius, Grams, HumidityPercent, Milliamps, Volts } from "./units.ts";

/** Whatever can happen to a feeder, as `advanceFeeder` is told of it. */
export type Fact =
  | { readonly kind: "reported"; readonly report: Report }
  | { readonly kind: "reportRefused"; readonly problem: RefusedBecause } // the feeder spoke, and could not be understood
  | { readonly kind: "minutePassed" }
  | { readonly kind: "settingsChanged"; readonly settings: FeederSettings }
  | { readonly kind: "refillTold"; readonly refill: ToldRefill }
  | { readonly kind: "cleaned"; readonly at: Instant; readonly by: string } // somebody cleaned it, perhaps a while ago
  | { readonly kind: "orderAsked"; readonly order: Order }
  | { readonly kind: "ordersSent" } // the pending order left for the feeder, on its answer or over its socket
  /** `raisedAt`: which raise was answered, where the answer says; null: whichever stands. */
  | {
      readonly kind: "alarmAcknowledged";
      readonly fault: FaultKind;
      readonly by: string;
      readonly raisedAt: Instant | null;
      /** How gravely it had called whoever answers; left out: as it does now. */
      readonly calledAs?: CallPriority;
    }
  | { readonly kind: "alarmShelved"; readonly fault: FaultKind; readonly until: Instant; readonly by: string }
  | { readonly kind: "alarmReset"; readonly fault: FaultKind; readonly by: string } // somebody looked at the thing itself
  | { readonly kind: "alarmTakenOutOfService"; readonly fault: FaultKind; readonly why: string; readonly by: string }
  | { readonly kind: "alarmReturnedToService"; readonly fault: FaultKind; readonly by: string };

/**
 * One report as far as it is new: events that were stored before are already gone from it. Events stand in the order
 * in which they were recorded; some may be hours old (a backlog after an outage), and a few may be older than what an
 * earlier report told.
 */
export interface Report {
  /** With its life, where several starts use one id (bootLife.ts). */
  readonly boot: string;
  /** The feeder's monotonic clock when it sent; null where it sends what an earlier boot left behind. */
  readonly sentUptime: Span | null;
  readonly readings: Readings;
  /** Readings that were posted but that no such sensor can mean, by their posted names, such as "insideCelsius". */
  readonly setAside: readonly string[];
  /** Readings whose names are not known, such as "hoperGrams"; left out: none. */
  readonly unknown?: readonly string[];
  readonly events: readonly FeederEvent[];
}

/** What the feeder measures at the time of sending. All optional: null is "not said". */
export interface Readings {
  readonly hopper: Grams | null;
  readonly air: Celsius | null;
  readonly inside: Celsius | null;
  readonly lid: Celsius | null;
  readonly humidity: HumidityPercent | null;
  readonly supply: Volts | null;
  readonly battery: Volts | null;
  readonly batteryTemperature: Celsius | null;
  readonly charge: Milliamps | null;
  readonly signalDbm: number | null;
  readonly spooled: number | null;
  /** Running totals since boot, by sensor. */
  readonly counts: Counts;
  readonly paused: boolean | null;
  readonly planVersion: number | null;
}

export interface Counts {
  readonly button: number | null;
  readonly detector: number | null;
  readonly chute: number | null;
  readonly perch: number | null;
}

export type PortionCause = "timer" | "press" | "deposit" | "keeper";

export interface Portion {
  readonly kind: "portion";
  readonly cause: PortionCause;
  readonly paysFor: number | null; // seq of the press or deposit that it pays; null where it is free food or not said
  readonly motorRan: Span | null;
  readonly meanCurrent: Milliamps | null;
  readonly peakCurrent: Milliamps | null;
  readonly chuteCount: number | null; // pieces that the chute sensor saw fall; null without such a sensor
  readonly lowestSupply: Volts | null; // least that the supply gave while the motor ran; null where not said
  /** It was begun and not ended: between nothing and a whole portion fell. Left out where it was not cut short. */
  readonly cutShort?: true;
}

export interface Deposit {
  readonly kind: "deposit";
  readonly metal: boolean | null;
  readonly signal: number | null; // the detector's strength, 0..1
  readonly chute: boolean | null; // the slot's own beam was broken too
}

export type Happening =
  | Portion
  | { readonly kind: "press" }
  | Deposit
  | { readonly kind: "visit" }
  | { readonly kind: "lid"; readonly open: boolean | null }
  | { readonly kind: "refill"; readonly added: Grams | null; readonly full: boolean }
  | {
      readonly kind: "order";
      readonly order: string;
      readonly outcome: "done" | "refused";
      readonly problem: string | null;
    }
  | { readonly kind: "trouble"; readonly words: string }
  | { readonly kind: "unknown"; readonly said: string };

/** `recordedAt` is the feeder's time, rebuilt from its monotonic clock; `seq` counts from 1 within one boot. */
export type FeederEvent = Happening & { readonly seq: number; readonly recordedAt: Instant };

/** What the keeper says about a refill: so many grams put in, or filled to the brim, or found at this level. */
export interface ToldRefill {
  readonly at: Instant;
  readonly what:
    | { readonly kind: "added"; readonly grams: Grams }
    | { readonly kind: "filled" }
    | { readonly kind: "level"; readonly grams: Grams };
}

/** What the shell must do once the step is committed, or store along with it. */
export type Effect =
  | { readonly kind: "alarmChanged"; readonly change: AlarmChange }
  | { readonly kind: "call"; readonly word: CallWord }
  | { readonly kind: "orderChanged"; readonly order: Order }
  | { readonly kind: "refillFound"; readonly added: Grams; readonly at: Instant };

/**
 * One raw transition of an alarm: always logged, also when nobody is told. Where `from` and `to` are the same, the fault came
 * or went while the alarm stayed what it was (shelved, hidden, within a delay), or the alarm grew graver as it stood.
 */
export interface AlarmChange {
  readonly fault: FaultKind;
  readonly priority: Priority;
  readonly from: AlarmPhase;
  readonly to: AlarmPhase;
  readonly at: Instant;
  readonly reason: string;
  /** Whether the fault itself is there after this change, as far as can be seen. */
  readonly present: boolean;
}

/** States of ANSI/ISA-18.2 and IEC 62682; `suspected` is "normal" while the on-delay runs. */
export type AlarmPhase =
  | "normal"
  | "suspected"
  | "unacknowledged"
  | "acknowledged"
  | "returnedUnacknowledged"
  | "latchedUnacknowledged"
  | "latchedAcknowledged"
  | "shelved"
  | "suppressedByDesign"
  | "outOfService";

/** Words for the keeper's phones. Its push form (size, topic, headers) is made in push/. */
export interface Notice extends NoticeMore {
  readonly fault: FaultKind | null; // null for a test or a digest
  readonly priority: Priority;
  readonly title: string;
  readonly body: string;
  /** A newer notice with the same topic replaces this one on the way and on the screen. */
  readonly topic: string;
  readonly timeToLive: Span;
  readonly quiet: boolean; // replace without sound: good news need not wake anyone
  /** When the alarm was raised that it speaks of: an answer given on the screen means this very one. Left out where it isn't one. */
  readonly raisedAt?: Instant;
  /** What can be answered on the screen itself; left out: nothing. */
  readonly answers?: readonly NoticeAnswer[];
  /** Whose alarm an answer goes to, where the notice speaks of a whole yard: to acknowledge one is to have seen why. */
  readonly answersAt?: { readonly feeder: string; readonly raisedAt: Instant };
  /** Its alarm asks for nothing any more: what stands on the screen about it is taken away or set right. */
  readonly closes?: true;
}

/** More of a notice, for what has room or a page for it. */
export interface NoticeMore {
  /** The page that it opens, such as `/yards/y1/digest`; left out: its feeder's page, or the first one. */
  readonly opens?: string;
  /** What stands in its letter; left out: the body. */
  readonly letter?: readonly LetterPart[];
}

export type NoticeAnswer = "acknowledge" | "pause";
