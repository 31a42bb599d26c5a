import type { Instant } from "../../server/domain/instant.ts";
import type { LocalDate } from "../../server/domain/localTime.ts";
import type { FeederEvent } from "../../server/domain/report.ts";
import type { Place } from "../../server/domain/settings.ts";

/**
 * What a site of simulated learners takes and gives, day by day. Goal: to judge whether a conclusion about learning
 * agrees with the truth beside it. Whoever writes that conclusion reads this file and no other of the folder.
 */
export const stageKinds = ["comeForFood", "pressForFood", "nudgeCap", "dropCap", "fetchCap"] as const;
export type StageKind = (typeof stageKinds)[number];

/** What the keeper has set for this day. Only the act of the stage is paid. */
export interface Conditions {
  readonly stage: StageKind;
  readonly freePortions: number; // spread at irregular times over the day's light
  readonly distanceCm: number | null; // button (press) or caps (cap stages) to the dish; null: not measured
  readonly capsLaid: number; // so many caps lie there each morning in the cap stages; what is left over is not added to
  readonly gramsEach: number; // of a portion
  readonly paysEvery: number; // 1: each act is paid; 2: every second, and so on
}

/**
 * What the server knows of the feeder's faults. While `offline` the feeder goes on; its events are there, but after
 * four hours without a line half of its visits are lost. `detectorDeaf` is the sensor of the stage: perch, button or
 * cap detector.
 */
export interface KnownFault {
  readonly from: Instant;
  readonly to: Instant;
  readonly kind: FaultKind;
}
export type FaultKind = "foodOut" | "jammed" | "detectorDeaf" | "paused" | "offline";

export interface LivedDay {
  readonly date: LocalDate;
  /**
   * In time order; `seq` goes on from the day before, or begins at 1 with a new `boot`. A portion's time is the start
   * of its run.
   */
  readonly events: readonly FeederEvent[];
  readonly boot: string;
  readonly weather: readonly { readonly at: Instant; readonly airCelsius: number }[]; // hourly
  readonly faults: readonly KnownFault[];
  readonly truth: DayTruth;
}

export interface DayTruth {
  /**
   * The true probability, 0 to 1, that one bout of visits holds the act of the stage, with working sensors: the mean
   * over the day's bouts that had the means for it (a cap, in the cap stages) of the probability just before each; on a
   * day without such a bout, that of a bout at the day's begin. For comeForFood: that a free portion is visited within
   * 30 minutes.
   */
  readonly actShare: number;
  /** Of the day with its weather, birds and mood; free portions that birds answer included. */
  readonly expectedBouts: number;
  /** Birds that are about today and readily come; and those that are about and know the act of the stage. */
  readonly birdsComing: number;
  readonly birdsKnowing: number;
  /** A fault of the feeder in the birds' hours that the server does not know today. */
  readonly hiddenFault: boolean;
}

/** Days are lived in order, and the birds remember. Days may be left out: then the feeder is not there. */
export interface Site {
  readonly place: Place;
  readonly zone: string;
  readonly hasPerch: boolean; // false: no visit is ever reported
  readonly truth: { readonly learns: boolean; readonly kind: string };
  /** @throws RangeError where the date does not come after the one lived last. */
  live(date: LocalDate, conditions: Conditions): LivedDay;
}

/** The same seed and the same calls give the same days. */
export type SiteMaker = (seed: number) => Site;
