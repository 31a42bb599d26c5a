import type { BenchRequest } from "../../contract/benchRequest.ts";
import type { BenchAct } from "../../domain/benchRun/advanceBench.ts";
import { hours, inHours, minutes } from "../../domain/instant.ts";
import { grams } from "../../domain/units.ts";

/** A keeper's act about a bench run as it was requested, and as the log has it: both in the units of the interface. */

export function benchActOf(request: BenchRequest): BenchAct {
  const { kind, run } = request;
  if (kind === "stop") return { kind, run };
  if (kind === "start") {
    const { quietMinutes, portions, caps, presses, knownGrams, soakHours } = request;
    const knownMass = knownGrams === null ? null : grams(knownGrams);
    return {
      ...{ kind, run },
      plan: { quiet: minutes(quietMinutes), portions, caps, presses, knownMass, soak: hours(soakHours) },
    };
  }
  const { step, totalGrams, emptySeen } = request;
  if (step !== "weigh") return { kind, run, step };
  const weighed = { total: totalGrams == null ? null : grams(totalGrams), empty: emptySeen ?? null };
  return { kind, run, step, weighed };
}

export function benchRequestOf(act: BenchAct): BenchRequest {
  const { kind, run } = act;
  if (kind === "stop") return { kind, run };
  if (kind === "start") {
    const { quiet, portions, caps, presses, knownMass, soak } = act.plan;
    return {
      ...{ kind, run, portions, caps, presses },
      ...{ quietMinutes: quiet / minutes(1), knownGrams: knownMass, soakHours: inHours(soak) },
    };
  }
  const { step, weighed } = act;
  if (weighed === undefined) return { kind, run, step };
  return { kind, run, step, totalGrams: weighed.total, emptySeen: weighed.empty };
}
