import type { Readings } from "../report.ts";

/** The temperatures in the same report, as far as they change a scale's reading. */
export type ScaleTemperatures = Pick<Readings, "air" | "inside" | "lid">;
export const unknownTemperatures: ScaleTemperatures = { air: null, inside: null, lid: null };
