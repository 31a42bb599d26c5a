import type { BenchRequest } from "../../contract/benchRequest.ts";
import type { BenchAct } from "../../domain/benchRun/advanceBench.ts";
import { hours, inHours, minutes } from "../../domain/instant.ts";
import { grams } from "../../domain/units.ts";

/** A keeper's act about a bench run as it was requested, and as the log has it: both in the units of the interface. */

export function benchActOf({ run, what }: BenchRequest): BenchAct {
  if (what.kind === "stop") return { kind: what.kind, run };
  if (what.kind === "start") {
    const { kind, quietMinutes, portions, caps, presses, knownGrams, soakHours } = what;
    const knownMass = knownGrams === null ? null : grams(knownGrams);
    const plan = { quiet: minutes(quietMinutes), portions, caps, presses, knownMass, soak: hours(soakHours) };
    return { kind, run, plan };
  }
  const { kind, step, totalGrams, emptySeen } = what;
  if (step !== "weigh") return { kind, run, step };
  const weighed = { total: totalGrams == null ? null : grams(totalGrams), empty: emptySeen ?? null };
  return { kind, run, step, weighed };
}

export function benchRequestOf(act: BenchAct): BenchRequest {
  const { kind, run } = act;
  if (kind === "stop") return { run, what: { kind } };
  if (kind === "start") {
    const { quiet, portions, caps, presses, knownMass, soak } = act.plan;
    const spans = { quietMinutes: quiet / minutes(1), soakHours: inHours(soak) };
    return { run, what: { kind, portions, caps, presses, knownGrams: knownMass, ...spans } };
  }
  const { step, weighed } = act;
  const found = weighed === undefined ? {} : { totalGrams: weighed.total, emptySeen: weighed.empty };
  return { run, what: { kind, step, ...found } };
}
