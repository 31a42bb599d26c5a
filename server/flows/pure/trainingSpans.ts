import type { AlarmChange } from "../../domain/alarms/alarmStates.ts";
import { benchSpans } from "../../domain/benchRun/advanceBench.ts";
import type { FaultKind } from "../../domain/faults.ts";
import type { FeederState } from "../../domain/feeder.ts";
import type { Instant } from "../../domain/instant.ts";
import type { Order } from "../../domain/orders/order.ts";
import { isWithin, type TimeSpan } from "../../domain/timeSpans.ts";
import type { Exclusion } from "../../domain/training/trainingDay.ts";
import { faultSpans, pausedSpans, silentSpans } from "./digestSpans.ts";

/** Faults in which the feeder is not what the birds know it as, or doesn't see what they do. */
export const faultsThatCount: readonly FaultKind[] = [
  "motorNotTurning",
  "motorStalled",
  "foodOut",
  "trayJammed",
  "feedBridged",
  "feedStopped",
  "iceLock",
  "buttonSilent",
  "detectorSilent",
  "perchSilent",
  "sensorChattering",
];

interface Record {
  readonly state: FeederState;
  readonly alarmChanges: readonly AlarmChange[]; // of the span, in order
  readonly orders: readonly Order[];
  readonly eventTimes: readonly Instant[]; // of the span, in order
}

/** What must not count of a feeder's record, and why. A silence whose events came later is none: the feeder was there. */
export function exclusions(
  { state, alarmChanges, orders, eventTimes }: Record,
  within: TimeSpan,
): readonly Exclusion[] {
  const as = (why: Exclusion["why"]) => (span: TimeSpan) => ({ ...span, why, fault: null });
  const silent = silentSpans(alarmChanges, state, within);
  return [
    ...faultsThatCount.flatMap((fault) =>
      faultSpans(fault, alarmChanges, state, within).map((span) => ({ ...span, why: "fault" as const, fault })),
    ),
    ...pausedSpans(orders, within.to).map(as("paused")),
    ...silent.filter((span) => !eventTimes.some((at) => isWithin(span, at))).map(as("gap")),
    ...benchSpans(state.bench).map(as("bench")),
  ];
}
