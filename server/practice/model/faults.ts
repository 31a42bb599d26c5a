/** The parts of a feeder that can break, by the names that practice, simulator and evaluation share. */
export const partFaults = [
  "feedBridged",
  "trayJammed",
  "motorStalled",
  "wireOff",
  "chuteBlind",
  "chuteHalfBlind",
  "scaleStuck",
  "scaleDead",
  "buttonDead",
  "detectorDead",
  "perchDead",
] as const;
export type PartFault = (typeof partFaults)[number];

/** @returns the broken part; null for a fault of anything else, such as the network or the weather. */
export const partFaultOf = (fault: string | null): PartFault | null =>
  partFaults.find((part) => part === fault) ?? null;
