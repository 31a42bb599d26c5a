import type { Effect } from "../effects.ts";
import type { Fact } from "../facts.ts";
import { type Fault, type FaultKind, faultKinds, ruleFor } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import type { Instant } from "../instant.ts";
import { acknowledge, reset, returnToService, shelve, takeOutOfService } from "./answers.ts";
import { callWords } from "./callWords.ts";
import { type AlarmStep, advanceAlarm } from "./lifeCycle.ts";
import { explainedNow, priorityNow, type Situation, suppressions } from "./oneCause.ts";

type Alarms = FeederState["alarms"];

/** All alarms of a feeder after one look at its faults, with what is to be logged and who is to be called. */
export function advanceAlarms(
  { alarms: before, settings }: Pick<FeederState, "alarms" | "settings">,
  situation: Situation,
  effects: Effect[],
): Alarms {
  const { there, now } = situation;
  const hidden = suppressions(situation);
  let alarms = before;
  for (const kind of faultKinds) {
    const fault = there.get(kind) ?? null;
    const alarm = before[kind] ?? null;
    if (fault === null && alarm === null) continue;
    const explains = explainedNow(kind, hidden, situation);
    const step = advanceAlarm(alarm, fault, {
      kind,
      rule: ruleFor(kind, settings),
      now,
      suppressed: hidden.get(kind) ?? null,
      priority: priorityNow(kind, explains, situation),
    });
    alarms = withStep(alarms, kind, step, effects);
    for (const word of callWords({ settings, explains }, step.changes, alarm, step.alarm)) {
      effects.push({ kind: "call", word });
    }
  }
  return alarms;
}

export type AlarmAnswer = Extract<
  Fact,
  { kind: "alarmAcknowledged" | "alarmShelved" | "alarmReset" | "alarmTakenOutOfService" | "alarmReturnedToService" }
>;

/** What a keeper says of one alarm; the look that follows judges by it. */
export function answerAlarm(
  { alarms, settings }: Pick<FeederState, "alarms" | "settings">,
  fact: AlarmAnswer,
  now: Instant,
  effects: Effect[],
): Alarms {
  const { fault: kind } = fact;
  const before = alarms[kind] ?? null;
  const step = answered(fact, before, { kind, rule: ruleFor(kind, settings), now });
  const answeredAlarms = withStep(alarms, kind, step, effects);
  for (const word of callWords({ settings, explains: [] }, step.changes, before, step.alarm)) {
    effects.push({ kind: "call", word });
  }
  return answeredAlarms;
}

function answered(
  fact: AlarmAnswer,
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
      return takeOutOfService(alarm, fact.why, fact.by, of);
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
