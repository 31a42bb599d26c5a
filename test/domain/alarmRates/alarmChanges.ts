import type { YardAlarmChange } from "../../../server/domain/alarmRates/history.ts";
import type { AlarmHistory } from "../../../server/domain/alarmRates/rates.ts";
import { type FaultKind, ruleOf } from "../../../server/domain/faults.ts";
import { after, days, type Instant, instantOf, minutes, type Span } from "../../../server/domain/instant.ts";

/** A month of the invented yard Alder Croft, alarm by alarm. */
const zone = "Europe/Stockholm";
export const from = instantOf("2026-01-01T00:00:00+01:00");
export const to = instantOf("2026-01-31T00:00:00+01:00");
export const at = (span: Span): Instant => after(from, span);

export const history = (...alarms: readonly (readonly YardAlarmChange[])[]): AlarmHistory => ({
  from,
  to,
  zone,
  feeders: [
    { id: "rowan", name: "Rowan", addedAt: from },
    { id: "larch", name: "Larch", addedAt: from },
  ],
  changes: alarms.flat().sort((one, other) => one.at - other.at),
  active: [],
});

type Transition = readonly [from: YardAlarmChange["from"], to: YardAlarmChange["to"], at: Instant];

export const alarmChanges = (
  feeder: string,
  fault: FaultKind,
  ...transitions: readonly Transition[]
): readonly YardAlarmChange[] =>
  transitions.map(([from, to, at]) => ({ feeder, fault, priority: ruleOf(fault).priority, from, to, at }));

/** Raised, acknowledged after `answered`, ended after `lasted`. */
export function ordinaryAlarm(
  feeder: string,
  fault: FaultKind,
  begins: Instant,
  answered = minutes(40),
  lasted = minutes(90),
) {
  return alarmChanges(
    feeder,
    fault,
    ["normal", "unacknowledged", begins],
    ["unacknowledged", "acknowledged", after(begins, answered)],
    ["acknowledged", "normal", after(begins, lasted)],
  );
}

/** Raised and ended, and nobody acknowledged it. */
export function briefAlarm(feeder: string, fault: FaultKind, begins: Instant, lasted: Span) {
  return alarmChanges(
    feeder,
    fault,
    ["normal", "unacknowledged", begins],
    ["unacknowledged", "returnedUnacknowledged", after(begins, lasted)],
    ["returnedUnacknowledged", "normal", after(begins, (lasted + days(1)) as Span)],
  );
}
