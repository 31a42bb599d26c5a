import type { Instant } from "../instant.ts";
import type { ChatterState } from "./chatter.ts";
import type { HastyBursts } from "./hastyBursts.ts";
import { initialPairing, type Pairing } from "./pairing.ts";
import { initialRejectedReadings, type RejectedReadings } from "./rejectedReadings.ts";
import { initialScaleActivity, type ScaleActivity } from "./scaleSilence.ts";
import { initialSilenceStatistics, type SilenceStatistics } from "./silenceStatistics.ts";
import { type ConstantReadings, initialConstantReadings } from "./stuckReadings.ts";

/**
 * The state that distinguishes a dead sensor from birds that stay away. A sensor with companions is judged by what they saw
 * meanwhile (pairing.ts); one without, by the daylight that passed (silenceStatistics.ts). When all are silent together there
 * are no birds, and no fault is found.
 */
export interface SensorsState {
  readonly button: SensorActivity;
  readonly detector: SensorActivity;
  readonly perch: SensorActivity;
  readonly chute: RunningTotal;
  readonly scale: ScaleActivity;
  readonly constantReadings: ConstantReadings;
  readonly rejectedReadings: RejectedReadings;
  readonly boot: string | null; // the boot that the running totals belong to
  readonly totalsAt: Instant; // when they were last reported
  readonly isPaused: boolean; // as last reported: what birds do at a paused feeder is no measure
}

export type BirdSensor = "button" | "detector" | "perch";
export const birdSensors = ["button", "detector", "perch"] as const;

export interface SensorActivity extends RunningTotal {
  readonly lastCountAt: Instant | null; // when it last counted
  readonly lastMarkAt: Instant | null; // when it last counted as a mark for its companions
  /** Null beside itself, except for the detector: the beam in its own slot sees whatever drops in. */
  readonly pairings: { readonly [companion in BirdSensor]: Pairing | null };
  readonly silence: SilenceStatistics;
  readonly chatter: ChatterState | null; // null between counts, while it counts as birds do
  readonly hasty: HastyBursts | null; // null while all counts are a bird's
}

/** The feeder's running total of one sensor, and the events received since. */
export interface RunningTotal {
  readonly total: number | null;
  readonly countedSince: number;
  readonly decrease: { readonly from: number; readonly to: number; readonly at: Instant } | null;
}

export function initialSensors(now: Instant): SensorsState {
  const activity = (self: BirdSensor): SensorActivity => ({
    ...initialTotal,
    lastCountAt: null,
    lastMarkAt: null,
    pairings: {
      button: self === "button" ? null : initialPairing(now),
      detector: initialPairing(now),
      perch: self === "perch" ? null : initialPairing(now),
    },
    silence: initialSilenceStatistics(now),
    chatter: null,
    hasty: null,
  });
  return {
    button: activity("button"),
    detector: activity("detector"),
    perch: activity("perch"),
    chute: initialTotal,
    scale: initialScaleActivity(),
    constantReadings: initialConstantReadings,
    rejectedReadings: initialRejectedReadings,
    boot: null,
    totalsAt: now,
    isPaused: false,
  };
}

const initialTotal: RunningTotal = { total: null, countedSince: 0, decrease: null };

// Written out, not spread, as is all that runs for every event, of which a report may hold thousands.
export const withChuteAndScale = (sensors: SensorsState, chute: RunningTotal, scale: ScaleActivity): SensorsState => ({
  button: sensors.button,
  detector: sensors.detector,
  perch: sensors.perch,
  chute,
  scale,
  constantReadings: sensors.constantReadings,
  rejectedReadings: sensors.rejectedReadings,
  boot: sensors.boot,
  totalsAt: sensors.totalsAt,
  isPaused: sensors.isPaused,
});

export const withBirdSensors = (
  sensors: SensorsState,
  button: SensorActivity,
  detector: SensorActivity,
  perch: SensorActivity,
): SensorsState => ({
  button,
  detector,
  perch,
  chute: sensors.chute,
  scale: sensors.scale,
  constantReadings: sensors.constantReadings,
  rejectedReadings: sensors.rejectedReadings,
  boot: sensors.boot,
  totalsAt: sensors.totalsAt,
  isPaused: sensors.isPaused,
});
