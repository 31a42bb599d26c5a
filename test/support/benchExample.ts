import type { BenchRequest } from "../../server/contract/benchRequest.ts";

/** A bench run with all steps. */
export const benchExample = {
  run: "run-00000001",
  what: { kind: "start", quietMinutes: 2, portions: 60, caps: 30, presses: 30, knownGrams: 100, soakHours: 8 },
} as const satisfies BenchRequest;
