import type { Effect } from "../effects.ts";
import type { Fact } from "../facts.ts";
import { type Fault, type FaultKind, faultKinds, ruleFor } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import type { Instant } from "../instant.ts";
import { alarmEvents } from "./alarmEvents.ts";
import { acknowledge, reset, returnToService, shelve, takeOutOfService } from "./alarmResponses.ts";
import { type AlarmStep, advanceAlarm } from "./alarmTransitions.ts";
import { currentPriority, explainedFaults, type FaultSituation, suppressions } from "./suppression.ts";

type Alarms = FeederState["alarms"];

/** All alarms of a feeder after one look at its faults, with what is to be logged and who is to be called. */
export function advanceAlarms(
  { alarms: before, settings }: Pick<FeederState, "alarms" | "settings">,
  situation: FaultSituation,
  effects: Effect[],
): Alarms {
  const { faults, now } = situation;
  const hidden = suppressions(situation);
  let alarms = before;
  for (const kind of faultKinds) {
    const fault = faults.get(kind) ?? null;
    const alarm = before[kind] ?? null;
    if (fault === null && alarm === null) continue;
    const explains = explainedFaults(kind, hidden, situation);
    const step = advanceAlarm(alarm, fault, {
      kind,
      rule: ruleFor(kind, settings),
      now,
      suppressed: hidden.get(kind) ?? null,
      priority: currentPriority(kind, explains, situation),
    });
    alarms = withStep(alarms, kind, step, effects);
    for (const word of alarmEvents({ settings, explains }, step.changes, alarm, step.alarm)) {
      effects.push({ kind: "alarmEvent", event: word });
    }
  }
  return alarms;
}

export type AlarmResponse = Extract<
  Fact,
  { kind: "alarmAcknowledged" | "alarmShelved" | "alarmReset" | "alarmTakenOutOfService" | "alarmReturnedToService" }
>;

/** What a keeper says of one alarm; the look that follows judges by it. */
export function respondToAlarm(
  { alarms, settings }: Pick<FeederState, "alarms" | "settings">,
  fact: AlarmResponse,
  now: Instant,
  effects: Effect[],
): Alarms {
  const { fault } = fact;
  const before = alarms[fault] ?? null;
  const step = applyResponse(fact, before, { kind: fault, rule: ruleFor(fault, settings), now });
  const answeredAlarms = withStep(alarms, fault, step, effects);
  for (const word of alarmEvents({ settings, explains: [] }, step.changes, before, step.alarm)) {
    effects.push({ kind: "alarmEvent", event: word });
  }
  return answeredAlarms;
}

function applyResponse(
  fact: AlarmResponse,
  alarm: Parameters<typeof acknowledge>[0],
  of: Parameters<typeof acknowledge>[2],
): AlarmStep {
  switch (fact.kind) {
    case "alarmAcknowledged":
      return acknowledge(alarm, fact, of);
    case "alarmShelved":
      return shelve(alarm, fact.until, fact.by, of);
    case "alarmReset":
      return reset(alarm, of);
    case "alarmTakenOutOfService":
      return takeOutOfService(alarm, fact.reason, fact.by, of);
    case "alarmReturnedToService":
      return returnToService(alarm, of);
  }
}

function withStep(alarms: Alarms, kind: FaultKind, { alarm, changes }: AlarmStep, effects: Effect[]): Alarms {
  for (const change of changes) effects.push({ kind: "alarmChanged", change });
  if (alarm === (alarms[kind] ?? null)) return alarms;
  const { [kind]: _before, ...others } = alarms;
  return alarm === null ? others : { ...others, [kind]: alarm };
}

export const byKind = (faults: readonly Fault[]): ReadonlyMap<FaultKind, Fault> =>
  new Map(faults.map((fault) => [fault.kind, fault]));
