import type { Fact } from "../facts.ts";
import type { FaultKind } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import type { Instant } from "../instant.ts";
import { isPaused } from "../orders/pauseStatus.ts";
import type { FeederEvent, Report } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import { type PlanSituation, updatePlanRecord } from "./planRecord.ts";
import { currentPlan, earnedByPlan, plannedDay } from "./planState.ts";

/** The state after a step with the plan that is in force then, and with the record of what was given of it. */
export function advancePlan(state: FeederState, before: FeederState, fact: Fact, now: Instant): FeederState {
  const recorded =
    fact.kind === "reported" && state.plan !== undefined ? withRecord(state, before, fact.report, now) : state;
  const plan = currentPlan(state.plan, state, hasChanged(state.settings, before.settings), now);
  return plan === undefined || plan === state.plan ? recorded : { ...recorded, plan };
}

/** What the plan's times follow from, by value: a replay makes the same settings anew from each entry of the log. */
const hasChanged = (settings: FeederSettings, before: FeederSettings): boolean =>
  (settings.feeding !== before.feeding && JSON.stringify(settings.feeding) !== JSON.stringify(before.feeding)) ||
  settings.zone !== before.zone ||
  settings.place?.latitudeDegrees !== before.place?.latitudeDegrees ||
  settings.place?.longitudeDegrees !== before.place?.longitudeDegrees;

function withRecord(state: FeederState, before: FeederState, report: Report, now: Instant): FeederState {
  const planRecord = updatePlanRecord(state.planRecord, report, situationOf(state, before, now));
  return planRecord === undefined || planRecord === state.planRecord ? state : { ...state, planRecord };
}

function situationOf(state: FeederState, before: FeederState, now: Instant): PlanSituation {
  const { plan, settings, latestReadings } = state;
  const trouble = troubleOf(state);
  const paused = isPaused(state.orders, now);
  if (latestReadings === null || latestReadings === before.latestReadings) {
    return { at: null, day: null, paused, isFrost: false, trouble };
  }
  const { at, readings } = latestReadings;
  const day = readings.planVersion === plan?.version ? plannedDay(plan, settings, at) : null;
  return { at, day, paused: readings.paused ?? paused, isFrost: isBelowFloor(settings, readings.air), trouble };
}

function troubleOf({ alarms }: FeederState): PlanSituation["trouble"] {
  const isActive = (kind: FaultKind) => alarms[kind] !== undefined;
  return isActive("supplyWeak") ? "supply" : motorFaults.some(isActive) ? "motor" : null;
}

const motorFaults: readonly FaultKind[] = ["motorNotTurning", "motorStalled"];

/** Two thermometers, or two moments, differ by as much: what the feeder did near the limit isn't known. */
const frostDoubt = 0.5; // degrees

const isBelowFloor = ({ feeding }: FeederSettings, air: number | null): boolean =>
  feeding?.frostFloor != null && air !== null && air < feeding.frostFloor.below - frostDoubt;

/**
 * Presses and deposits as the plan has them, where the feeder doesn't say itself what they earn: by a plan that pays only some, the server
 * can't know which ones, and nobody is told that one wasn't paid.
 */
export function actsByPlan(
  events: readonly FeederEvent[],
  { settings, plan, latestReadings }: FeederState,
): readonly FeederEvent[] {
  const { feeding } = settings;
  if (feeding === undefined || latestReadings?.readings.planVersion == null) return events;
  const earned = plan === undefined ? feeding : earnedByPlan(plan, feeding);
  const paysEach = (kind: "press" | "deposit") => earned[kind]?.ratio.of === 1;
  return events.map((event) =>
    (event.kind === "press" || event.kind === "deposit") && event.earns === undefined && !paysEach(event.kind)
      ? { ...event, earns: false }
      : event,
  );
}
