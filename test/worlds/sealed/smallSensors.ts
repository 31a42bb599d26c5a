import type { Random } from "./random.ts";

/** Chute, detector, perch and thermometer. Ranges: common practice, no source. */

export interface ChutePart {
  readonly missed: number; // share of the pieces that others shadow
  readonly twice: number;
  readonly dirtPerDay: number; // share of its sight that a day's dust takes
  readonly strayPerDay: number; // counts of insects, drops and sunshine
}

export const drawChute = (random: Random): ChutePart => ({
  missed: random.logUniform(0.01, 0.4),
  twice: random.chance(0.4) ? 0 : random.logUniform(0.003, 0.12),
  dirtPerDay: random.chance(0.3) ? 0 : random.logUniform(0.0003, 0.006),
  strayPerDay: random.chance(0.5) ? 0 : random.logUniform(0.02, 0.8),
});

/** @param sight 1 when clean, 0 when it sees nothing */
export function countedPieces(pieces: number, part: ChutePart, sight: number, random: Random): number {
  let count = 0;
  for (let piece = 0; piece < pieces; piece += 1) {
    if (!random.chance((1 - part.missed) * sight)) continue;
    count += random.chance(part.twice) ? 2 : 1;
  }
  return count;
}

export interface DetectorPart {
  readonly hasBeam: boolean; // a light barrier in its slot, which sees what isn't metal, too
  readonly hasSignal: boolean;
  readonly sees: number; // share of the caps
  readonly beamSees: number;
  readonly signal: number; // usual
  readonly signalPerCelsius: number;
  readonly signalNoise: number;
  readonly strayPerDay: number;
}

export const drawDetector = (random: Random): DetectorPart => ({
  hasBeam: random.chance(0.45),
  hasSignal: random.chance(0.5),
  sees: 1 - random.logUniform(0.003, 0.1),
  beamSees: 1 - random.logUniform(0.003, 0.06),
  signal: random.uniform(0.35, 0.9),
  signalPerCelsius: random.normal(0, 0.003),
  signalNoise: random.uniform(0.02, 0.14),
  strayPerDay: random.chance(0.6) ? 0 : random.logUniform(0.01, 0.2),
});

export interface Seen {
  readonly metal: boolean;
  readonly beam: boolean;
  readonly signal: number;
}

/** What the slot sees of something that falls in. @param isDeaf the coil sees nothing any more */
export function seenInSlot(
  isCap: boolean,
  part: DetectorPart,
  around: { readonly celsius: number; readonly isDeaf: boolean },
  random: Random,
): Seen {
  const metal = isCap && !around.isDeaf && random.chance(part.sees);
  const strong = part.signal + part.signalPerCelsius * (around.celsius - 20) + random.normal(0, part.signalNoise);
  const weak = Math.abs(random.normal(0, 0.015));
  const signal = Math.max(metal ? 0.12 : 0, Math.min(1, metal ? strong : weak));
  return { metal, beam: part.hasBeam && random.chance(part.beamSees), signal: Math.round(signal * 1_000) / 1_000 };
}

export interface PerchPart {
  readonly sees: number;
  readonly strayPerDay: number; // by wind
}

export const drawPerch = (random: Random): PerchPart => ({
  sees: random.uniform(0.5, 1),
  strayPerDay: random.chance(0.5) ? 0 : random.logUniform(0.03, 2),
});

export interface ThermometerPart {
  readonly step: number;
  readonly offset: number;
  readonly noise: number;
  readonly isInBox: boolean; // in the box with the computer, whatever its keeper calls it
  readonly missing: number; // share of readings that fail
}

export const drawThermometer = (random: Random): ThermometerPart => ({
  step: random.pick([0.01, 0.0625, 0.1, 0.1, 0.25, 0.5, 1]),
  offset: random.normal(0, 0.8),
  noise: random.logUniform(0.01, 0.25),
  isInBox: random.chance(0.3),
  missing: random.chance(0.7) ? 0 : random.logUniform(0.0005, 0.02),
});

export function measuredCelsius(celsius: number, part: ThermometerPart, random: Random): number {
  const raw = Math.max(-60, Math.min(65, celsius + part.offset + random.normal(0, part.noise)));
  return Math.round(Math.round(raw / part.step) * part.step * 10_000) / 10_000 + 0;
}
