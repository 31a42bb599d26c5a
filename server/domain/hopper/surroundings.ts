import type { Readings } from "../report.ts";

/** What else the feeder said beside the reading, as far as it moves a scale. */
export type ScaleTemperatures = Pick<Readings, "air" | "inside" | "lid">;
export const unknownTemperatures: ScaleTemperatures = { air: null, inside: null, lid: null };
