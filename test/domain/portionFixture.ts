import type { Portion } from "../../server/domain/report.ts";

/** A portion of which nothing is known but that the plan gave it: no sensor, no current, no payer. */
export const barePortion: Portion = {
  kind: "portion",
  cause: "timer",
  paysFor: null,
  motorRan: null,
  meanCurrent: null,
  peakCurrent: null,
  chuteCount: null,
  lowestSupply: null,
};
