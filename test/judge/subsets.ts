import type { WorldSensors } from "../worlds/world.ts";

/** What feeders have, from everything to a bare scale under a dispenser that reports nothing. */
const all: WorldSensors = {
  button: true,
  detector: true,
  chute: true,
  perch: true,
  scale: true,
  motorCurrent: true,
  portionEvents: true,
};
const bare: WorldSensors = {
  button: false,
  detector: false,
  chute: false,
  perch: false,
  scale: false,
  motorCurrent: false,
  portionEvents: true,
};

export const subsets = {
  "all sensors": all,
  "no motor current": { ...all, motorCurrent: false },
  "no chute": { ...all, chute: false },
  "no scale": { ...all, scale: false },
  "scale only": { ...bare, scale: true },
  "chute only": { ...bare, button: true, detector: true, chute: true },
  "button only": { ...bare, button: true },
} as const satisfies Record<string, WorldSensors>;

export type SubsetName = keyof typeof subsets;
export const subsetNames = Object.keys(subsets) as readonly SubsetName[];
