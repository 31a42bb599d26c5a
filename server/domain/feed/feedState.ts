import type { HopperLevel } from "../hopper/level.ts";
import type { Instant } from "../instant.ts";
import { initialPortionRate, type PortionRate } from "./alarmThreshold.ts";
import { type ChuteModel, initialChuteModel } from "./chuteModel.ts";
import { type EmptyPortions, initialEmptyPortions } from "./emptyPortions.ts";
import type { FeedDiagnosis } from "./feedDiagnosis.ts";
import { type HypothesisStatistics, initialStatistics } from "./hypothesisStatistics.ts";
import { initialMotorModel, type MotorModel } from "./motorModel.ts";
import { initialPayments, type Payments } from "./payments.ts";
import { initialScaleTrack, type ScaleTrack } from "./scaleTrack.ts";

/**
 * Whether food falls when the motor runs, and if not, why. Each portion is tested with every sensor that saw it, the chute
 * sensor, the motor's current and the scale, for every fault that could be the reason (hypothesisStatistics.ts). None of the
 * sensors is required; what can't be distinguished without one is stated (causeText.ts).
 */
export interface FeedState {
  readonly lastPortionAt: Instant | null; // the newest portion; older ones don't change the diagnosis
  readonly uncountedPortions: number; // portions in a row in which the chute sensor saw nothing
  readonly lastFellAt: Instant | null;
  readonly levelAtPortion: HopperLevel | null; // in the hopper when the newest portion was given
  readonly portionRate: PortionRate;
  readonly chute: ChuteModel;
  readonly emptyPortions: EmptyPortions;
  readonly motor: MotorModel;
  readonly scale: ScaleTrack;
  readonly statistics: HypothesisStatistics;
  readonly diagnosis: FeedDiagnosis | null; // null while nothing is wrong
  readonly payments: Payments;
}

/** Written out, not spread, as is all that runs for every event. */
export const withPayments = (feed: FeedState, payments: Payments): FeedState => ({
  lastPortionAt: feed.lastPortionAt,
  uncountedPortions: feed.uncountedPortions,
  lastFellAt: feed.lastFellAt,
  levelAtPortion: feed.levelAtPortion,
  portionRate: feed.portionRate,
  chute: feed.chute,
  emptyPortions: feed.emptyPortions,
  motor: feed.motor,
  scale: feed.scale,
  statistics: feed.statistics,
  diagnosis: feed.diagnosis,
  payments,
});

export const initialFeed = (): FeedState => ({
  lastPortionAt: null,
  uncountedPortions: 0,
  lastFellAt: null,
  levelAtPortion: null,
  portionRate: initialPortionRate,
  chute: initialChuteModel,
  emptyPortions: initialEmptyPortions,
  motor: initialMotorModel,
  scale: initialScaleTrack,
  statistics: initialStatistics,
  diagnosis: null,
  payments: initialPayments,
});
