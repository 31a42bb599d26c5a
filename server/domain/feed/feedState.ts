import type { HopperLevel } from "../hopper/level.ts";
import type { Instant } from "../instant.ts";
import { type ChuteHabit, unknownChute } from "./chuteCounts.ts";
import { type MotorHabit, unknownMotor } from "./motorCurrent.ts";
import { type Pace, unknownPace } from "./pace.ts";
import { nothingOwed, type Payments } from "./payments.ts";
import { type ScaleTrack, unweighed } from "./scaleTrack.ts";
import { nothingSuspected, type Suspicions } from "./suspicion.ts";
import type { Verdict } from "./verdict.ts";

/**
 * Whether food falls when the motor runs, and if not, why. Each portion is weighed by every sensor that saw it, the chute
 * sensor, the motor's current and the scale, for every fault that could be the reason (suspicion.ts). None of the sensors is
 * needed; what can't be told without one is said so (causes.ts).
 */
export interface FeedState {
  readonly newestAt: Instant | null; // the newest portion: an older one can't undo what it showed
  readonly uncountedRun: number; // portions in a row in which the chute sensor saw nothing
  readonly lastFellAt: Instant | null;
  readonly levelAtPortion: HopperLevel | null; // in the hopper when the newest portion was given
  readonly pace: Pace;
  readonly chute: ChuteHabit;
  readonly motor: MotorHabit;
  readonly scale: ScaleTrack;
  readonly suspicions: Suspicions;
  readonly verdict: Verdict | null; // null while nothing is wrong
  readonly payments: Payments;
}

export const freshFeed = (): FeedState => ({
  newestAt: null,
  uncountedRun: 0,
  lastFellAt: null,
  levelAtPortion: null,
  pace: unknownPace,
  chute: unknownChute,
  motor: unknownMotor,
  scale: unweighed,
  suspicions: nothingSuspected,
  verdict: null,
  payments: nothingOwed,
});
