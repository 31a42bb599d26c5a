import type { Readings } from "../report.ts";
import type { Celsius } from "../units.ts";

/** The temperatures in the same report, as far as they change a scale's reading. */
export type ScaleTemperatures = Pick<Readings, "air" | "inside" | "lid">;
/** On the lid, as near to it as a thermometer is; null without any. */
export const outsideTemperature = ({ air, lid, inside }: ScaleTemperatures): Celsius | null => air ?? lid ?? inside;
export const unknownTemperatures: ScaleTemperatures = { air: null, inside: null, lid: null };
