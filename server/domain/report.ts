import type { Instant, Span } from "./instant.ts";
import type { Celsius, Grams, HumidityPercent, Milliamps, Volts } from "./units.ts";

/**
 * One report as far as it is new: events that were stored before are already gone from it. Events stand in the order
 * in which they were recorded; some may be hours old (a backlog after an outage), and a few may be older than those of an
 * earlier report.
 */
export interface Report {
  /** With its start number, where several starts use one id (bootNumber.ts). */
  readonly boot: string;
  /** The feeder's monotonic clock when it sent; null where it sends what an earlier boot left behind. */
  readonly sentUptime: Span | null;
  readonly readings: Readings;
  /** Readings that were posted but that no such sensor can mean, by their posted names, such as "insideCelsius". */
  readonly rejectedReadings: readonly string[];
  /** Readings whose names are not known, such as "hoperGrams"; left out: none. */
  readonly unknownReadings?: readonly string[];
  readonly events: readonly FeederEvent[];
}

/** What the feeder measures at the time of sending. All optional: null is "not reported". */
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

/** `bench`: a portion of a bench run, which is no food for a bird. */
export type PortionCause = "timer" | "press" | "deposit" | "keeper" | "bench";

export interface Portion {
  readonly kind: "portion";
  readonly cause: PortionCause;
  readonly paysFor: number | null; // seq of the press or deposit that it pays; null where it is free food or not reported
  readonly motorRan: Span | null;
  readonly meanCurrent: Milliamps | null;
  readonly peakCurrent: Milliamps | null;
  readonly chuteCount: number | null; // pieces that the chute sensor saw fall; null without such a sensor
  readonly lowestSupply: Volts | null; // least that the supply gave while the motor ran; null where not reported
  /** It was begun and not ended: between nothing and a whole portion fell. Left out where it was not cut short. */
  readonly cutShort?: true;
}

export interface Deposit {
  readonly kind: "deposit";
  readonly metal: boolean | null;
  readonly signal: number | null; // the detector's strength, 0..1
  readonly chute: boolean | null; // the slot's own beam was broken too
  readonly earns?: boolean;
}

export interface Press {
  readonly kind: "press";
  /** By the feeding plan: true promises a portion, false owes none. Left out where the feeder doesn't say. */
  readonly earns?: boolean;
}

export type EventContent =
  | Portion
  | Press
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
  | { readonly kind: "trouble"; readonly text: string }
  | { readonly kind: "unknown"; readonly postedKind: string };

/** `recordedAt` is the feeder's time, rebuilt from its monotonic clock; `seq` counts from 1 within one boot. */
export type FeederEvent = EventContent & { readonly seq: number; readonly recordedAt: Instant };
