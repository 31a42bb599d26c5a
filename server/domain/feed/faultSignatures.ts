/**
 * What each fault does to each sensor, and how often it comes: the physics of the feed in one table. An empty tray turns
 * without food, whether the hopper is empty or the food has bridged above it: only the level distinguishes these two.
 */
export const hypotheses = [
  "emptyTray",
  "trayJammed",
  "motorStalled",
  "motorNotTurning",
  "chuteBlind",
  "chuteHalfBlind",
  "chuteUndercounting",
  "trayPartlyJammed",
  "scaleStuck",
] as const;
export type Hypothesis = (typeof hypotheses)[number];

export interface FaultSignature {
  /** What becomes of a portion: it falls, a part of it does, it doesn't, or it shrinks over the last few before it doesn't. */
  readonly food: "falls" | "partlyFalls" | "stops" | "runsDry";
  readonly chute: "counts" | "nothing" | "blind" | "halfBlind" | "undercounting";
  /** Shift of ln(current) against a loaded tray, the same one while the fault lasts: from, to; null: none. */
  readonly shift: readonly [least: number, most: number] | null;
  /** Whether the scale shows what becomes of the food. */
  readonly scaleFollows: boolean;
}

/**
 * Currents, all common practice, no source: a tray without food turns as always or up to 8 % more easily than one with food on it, one with
 * a wedge anything from 5 % harder to twice as hard; a blocked motor draws 2.5 to 4 times as much; with a wire off only the driver leaks, a few
 * milliamperes. The ranges here are a little wider; a fault keeps its own value within them.
 */
export const faultSignatures: Record<Hypothesis, FaultSignature> = {
  emptyTray: { food: "runsDry", chute: "nothing", shift: [-0.1, 0.01], scaleFollows: true },
  trayJammed: { food: "stops", chute: "nothing", shift: [0.04, Math.log(2.2)], scaleFollows: true },
  motorStalled: { food: "stops", chute: "nothing", shift: [Math.log(2.2), Math.log(4.5)], scaleFollows: true },
  motorNotTurning: { food: "stops", chute: "nothing", shift: [-8, -2], scaleFollows: true },
  chuteBlind: { food: "falls", chute: "blind", shift: null, scaleFollows: true },
  chuteHalfBlind: { food: "falls", chute: "halfBlind", shift: null, scaleFollows: true },
  chuteUndercounting: { food: "falls", chute: "undercounting", shift: null, scaleFollows: true },
  // Something narrows the tray or lies in pockets of the wheel: the motor need not work harder.
  trayPartlyJammed: { food: "partlyFalls", chute: "undercounting", shift: null, scaleFollows: true },
  scaleStuck: { food: "falls", chute: "counts", shift: null, scaleFollows: false },
};

/**
 * How often each begins, per portion. Common practice, no source: a home-made tray jams once in some three thousand portions,
 * about once a month, in a bad week oftener; wires and sensors last longer. How often a hopper runs empty is not here: it
 * follows from the level.
 */
export const onsetProbabilities = {
  bridged: 3e-4,
  jammed: 3.5e-4,
  partlyJammed: 7e-5,
  stalled: 7e-5,
  still: 7e-5,
  blind: 1.7e-4,
  halfBlind: 3.5e-5,
  fewSeen: 3.5e-5,
  scaleStuck: 3.5e-5,
} as const;

/** Whether the same part is to blame: the feed, the chute sensor or the scale. */
export const isSamePart = (one: Hypothesis, other: Hypothesis): boolean => faultyPart(one) === faultyPart(other);

const faultyPart = (hypothesis: Hypothesis): "feed" | "chute" | "scale" => {
  const { food, scaleFollows } = faultSignatures[hypothesis];
  return food !== "falls" ? "feed" : scaleFollows ? "chute" : "scale";
};
