import type { Instant } from "../../server/domain/instant.ts";
import type { LogLine } from "../../server/replay/logLine.ts";

/**
 * A world makes the log of one feeder, line by line, with the truth beside each: its own dispenser, sensors, birds, weather, line and keeper.
 * Worlds are written apart from each other and from the detectors that are judged on them, so that no detector can be tuned to the
 * assumptions of its own author. A world imports nothing of the domain but instants and units, nothing of the practice feeders, and
 * nothing of another world. One is an exception and says so: `test/worlds/yard/`, on which the detectors were developed.
 *
 * The same story gives the same lines. Everything that a story leaves out is drawn from its seed, over the whole width that home-built
 * feeders have.
 */
export interface World {
  readonly name: string;
  /** Faults that this world has no physics for. Left out: none. A story with such a fault is a RangeError that names it. */
  readonly neverPlants?: readonly WorldFault[];
  tell(story: Story, phone: KeeperPhone): Generator<WorldMoment>;
}

export interface Story {
  readonly seed: number;
  readonly days: number;
  readonly reportEverySeconds: 30 | 60 | 300;
  readonly sensors: WorldSensors;
  /** Happens at `at` and stays. Null: all is well, as far as such a feeder is ever well. */
  readonly fault: { readonly kind: WorldFault; readonly at: Span } | null;
  /** How the keeper refills: when the phone asks; or never (the run-out is the story). */
  readonly refills: "whenAsked" | "never";
}

/** Milliseconds since the story's begin. */
type Span = number;

/** What the feeder has and reports. A sensor that it lacks is neither in the settings nor in a report. */
export interface WorldSensors {
  readonly button: boolean;
  readonly detector: boolean;
  readonly chute: boolean;
  readonly perch: boolean;
  readonly scale: boolean;
  readonly motorCurrent: boolean;
  readonly portionEvents: boolean; // false: a bare scale on a dispenser that reports nothing
}

/** The caller sets it between two lines: what the keeper's phone asks for, by an alarm or in the day's digest. Keepers look at it when they look at it. */
export interface KeeperPhone {
  asksForFood: boolean;
}

export const worldFaults = [
  "foodOut", // the keeper doesn't refill any more
  "foodBridged", // food in the hopper that doesn't come down to the tray
  "trayJammed", // nothing comes out, the motor turns against it
  "trayPartlyJammed", // far less comes out than before
  "motorStalled",
  "motorWireOff",
  "chuteBlind", // at once
  "chuteDirty", // creeps over a week until it sees nothing
  "scaleStuck", // the same reading, or nearly, for ever
  "scaleDead", // readings are null or left out
  "detectorDeaf", // the metal detector sees no cap any more; the beam in its slot, if any, still does
  "buttonDead",
  "buttonChatters", // bursts of presses that no bird makes, also at night
  "perchDead",
  "thermometerStuck",
  "paysNoMore", // the program answers no deposit with a portion any more; presses and free food go on where it gives any
] as const;
export type WorldFault = (typeof worldFaults)[number];

export interface WorldMoment {
  readonly line: LogLine;
  readonly truth: WorldTruth;
}

/** As it truly is at the moment of the line. */
export interface WorldTruth {
  readonly at: Instant;
  /**
   * Food that can still be given, also what lies above a bridge (it may fall); not the rest in corners that nothing gets out, which only
   * the scale carries.
   */
  readonly grams: number;
  readonly gramsOnScale: number; // food on the scale, without snow, birds or drift
  readonly portions: number; // motor runs so far
  readonly pieces: number; // that fell so far
  readonly portionGrams: number; // true mean of a portion over the last day
  readonly emptySince: Instant | null; // the first run that gave nothing for want of food, until the next refill
  readonly faultSince: Instant | null; // when the planted fault began
  readonly unfed: number; // runs since then that gave no food
  readonly bouts: number; // birds' comings so far, also those that no sensor saw
  readonly daylight: boolean;
}
