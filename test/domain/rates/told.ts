import { type FaultKind, ruleOf } from "../../../server/domain/faults.ts";
import { after, days, type Instant, instantOf, minutes, type Span } from "../../../server/domain/instant.ts";
import type { RatesHistory, YardChange } from "../../../server/domain/rates/history.ts";

/** A month of the invented yard Alder Croft, told alarm by alarm. */
export const zone = "Europe/Stockholm";
export const from = instantOf("2026-01-01T00:00:00+01:00");
export const to = instantOf("2026-01-31T00:00:00+01:00");
export const at = (span: Span): Instant => after(from, span);

export const history = (...told: readonly (readonly YardChange[])[]): RatesHistory => ({
  from,
  to,
  zone,
  feeders: [
    { id: "rowan", name: "Rowan", addedAt: from },
    { id: "larch", name: "Larch", addedAt: from },
  ],
  changes: told.flat().sort((one, other) => one.at - other.at),
  standing: [],
  rang: null,
});

/** Phases in which the fault itself is gone. */
const gone = new Set<YardChange["to"]>([
  ...(["normal", "returnedUnacknowledged", "latchedUnacknowledged", "latchedAcknowledged"] as const),
]);

export type Arrow = readonly [from: YardChange["from"], to: YardChange["to"], at: Instant, present?: boolean];

export const told = (feeder: string, fault: FaultKind, ...arrows: readonly Arrow[]): readonly YardChange[] =>
  arrows.map(([from, to, at, present]) => ({
    feeder,
    fault,
    priority: ruleOf(fault).priority,
    from,
    to,
    at,
    present: present ?? !gone.has(to),
  }));

/** Raised, seen to after `answered`, over after `lasted`. */
export function usual(feeder: string, fault: FaultKind, begins: Instant, answered = minutes(40), lasted = minutes(90)) {
  return told(
    feeder,
    fault,
    ["normal", "unacknowledged", begins],
    ["unacknowledged", "acknowledged", after(begins, answered)],
    ["acknowledged", "normal", after(begins, lasted)],
  );
}

/** Raised and over, and nobody answered. */
export function passing(feeder: string, fault: FaultKind, begins: Instant, lasted: Span) {
  return told(
    feeder,
    fault,
    ["normal", "unacknowledged", begins],
    ["unacknowledged", "returnedUnacknowledged", after(begins, lasted)],
    ["returnedUnacknowledged", "normal", after(begins, (lasted + days(1)) as Span)],
  );
}
