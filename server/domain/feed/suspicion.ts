import type { CountLogs } from "./chuteCounts.ts";
import { logFor } from "./chuteCounts.ts";
import { logBell } from "./density.ts";
import { type Look, looks, type Suspect, suspects } from "./looks.ts";
import type { CurrentForeseen } from "./motorCurrent.ts";
import { type Held, heldBy, logHeld, portionSpread, type ScaleTrack } from "./scaleTrack.ts";

/**
 * One running sum for each thing that may be wrong (Page 1954, Biometrika 41:100): what was seen since it may have begun is
 * so many times, in logarithms, likelier under it than under health. A sum that falls to zero begins anew, with the fault
 * beginning at the next portion. All sums are against the same health, so the largest tells that something is wrong, and their
 * differences tell what: one matrix of sums serves for both (Nikiforov 1995, IEEE Trans. Inf. Theory 41:19; Oskiper & Poor
 * 2002, IEEE Trans. Inf. Theory 48:3108).
 */
export type Suspicions = { readonly [suspect in Suspect]: Suspicion };

export interface Suspicion {
  readonly sum: number;
  readonly portions: number; // since it may have begun
  readonly held: Held; // what the scale should show if this is true
  readonly shift: number; // of ln(current), as far as seen
  readonly shiftVariance: number;
  readonly dry: number; // chance that the last portions are still shrinking
}

export interface SeenPortion {
  readonly counts: CountLogs | null; // null: no chute sensor, or it said nothing
  readonly fell: boolean | null; // by the chute sensor
  readonly current: { readonly drawn: number; readonly foreseen: CurrentForeseen } | null;
}

export const nothingSuspected: Suspicions = bySuspect((suspect) => begun(looks[suspect], { level: 0, variance: 0 }));

/** A portion was given. `track`: the scale's as it was before. `leader`: what a standing verdict rests on. */
export function weighPortion(
  suspicions: Suspicions,
  seen: SeenPortion,
  track: ScaleTrack,
  leader: Suspect | null,
): Suspicions {
  if (leader === null) {
    // Where no sensor but the scale sees portions, only its next reading can tell.
    const fade = seen.counts !== null || seen.current !== null ? fading : 0;
    return bySuspect((suspect) =>
      afterPortion(suspicions[suspect], looks[suspect], { seen, track, fade, stands: false }),
    );
  }
  const led = afterPortion(suspicions[leader], looks[leader], { seen, track, fade: 0, stands: true });
  const step = led.sum - Math.max(suspicions[leader].sum, 0);
  return bySuspect((suspect) => {
    if (suspect === leader) return led;
    const after = afterPortion(suspicions[suspect], looks[suspect], { seen, track, fade: 0, stands: true });
    const gained = after.sum - Math.max(suspicions[suspect].sum, 0) - step;
    return gained > 0 ? { ...after, sum: after.sum - Math.min(gained, fading) } : after;
  });
}

/** The scale said something that counts. `track`: as it was before. */
export function weighReading(suspicions: Suspicions, track: ScaleTrack, reading: number, wander: number): Suspicions {
  return bySuspect((suspect) => {
    const look = looks[suspect];
    const before = suspicions[suspect];
    if (followsHealth(look) || before.portions === 0) return before;
    const sum = before.sum + logHeld(track, before.held, reading, wander);
    return { ...before, sum, held: heldBy(before.held, reading, wander, track.noise) };
  });
}

/** The scale stands elsewhere: what it will say of a portion begins anew, the evidence so far stays. */
export const heldAnew = (suspicions: Suspicions, { level, variance }: ScaleTrack): Suspicions =>
  bySuspect((suspect) => ({ ...suspicions[suspect], held: { level, variance } }));

export const heldLevels = (suspicions: Suspicions): readonly Held[] =>
  suspects
    .filter((suspect) => !followsHealth(looks[suspect]) && suspicions[suspect].sum > 0)
    .map((suspect) => suspicions[suspect].held);

export function foremost(suspicions: Suspicions): Suspect {
  let first: Suspect = suspects[0];
  for (const suspect of suspects) if (suspicions[suspect].sum > suspicions[first].sum) first = suspect;
  return first;
}

/**
 * Evidence isn't hoarded: after a long fault it would take as long to see that it has turned into another. What is
 * taken off is taken off all alike, so that the differences stay.
 */
export function notHoarded(suspicions: Suspicions, most: number): Suspicions {
  const over = suspicions[foremost(suspicions)].sum - most;
  if (over <= 0) return suspicions;
  return bySuspect((suspect) => ({ ...suspicions[suspect], sum: suspicions[suspect].sum - over }));
}

/** Food falls again: what was held against the feed is void; a failing sensor has that in common with health. */
export const feedCleared = (suspicions: Suspicions, most: number): Suspicions =>
  bySuspect((suspect) => {
    const before = suspicions[suspect];
    const keeps = suspect === "halfBlind" || suspect === "fewSeen" || suspect === "scaleStuck";
    return { ...before, sum: keeps ? Math.min(before.sum, most) : 0 };
  });

// --- one portion ---------------------------------------------------------------------------------------------------

/** When a tray runs dry, the first portion is mostly a part of one; each later one is so with this chance. Common practice, no source. */
const dryAtFirst = 0.7;
const dryStill = 0.72;
const dryUsually = 5; // portions
/** What isn't proven after so many portions isn't so, or has become usual. Such a suspicion would keep habits from being learnt. */
const portionsMost = 150;
/**
 * Portion after portion says the same, and what is learnt of a current is never quite right: a hundredth of evidence a portion would
 * raise an alarm in a month or turn a name over in a week. So evidence must come in
 * faster than it fades; while a verdict stands, only what gains on the suspect that it rests on fades.
 */
const fading = 0.05;
/** No single portion says more than this, whatever it looks like. */
const stepMost = 30;

const followsHealth = ({ food, scaleFollows }: Look): boolean => food === "falls" && scaleFollows;

function begun(look: Look, held: Held): Suspicion {
  return {
    sum: 0,
    portions: 0,
    held,
    // Any value of the range is as likely as another: its mean and variance.
    shift: look.shift === null ? 0 : (look.shift[0] + look.shift[1]) / 2,
    shiftVariance: look.shift === null ? 0 : (look.shift[1] - look.shift[0]) ** 2 / 12,
    dry: 0,
  };
}

interface GivenPortion {
  readonly seen: SeenPortion;
  readonly track: ScaleTrack;
  readonly fade: number;
  readonly stands: boolean; // a verdict stands already
}

function afterPortion(before: Suspicion, look: Look, { seen, track, fade, stands }: GivenPortion): Suspicion {
  // A sum of exactly zero has heard nothing yet that speaks for or against it.
  const goesOn = (before.sum > 0 && before.portions < portionsMost) || (before.sum === 0 && before.portions > 0);
  const from = goesOn ? before : begun(look, { level: track.level, variance: track.variance });
  const counted = stepByCounts(look, seen, dryBefore(look, from));
  const { dry } = counted;
  const driven = stepByCurrent(look, seen, from, dry);
  const step = counted.step + driven.step;
  return {
    sum: from.sum + Math.min(Math.max(step, -stepMost), stepMost) - fade,
    portions: stands ? Math.min(from.portions + 1, portionsMost - 1) : from.portions + 1,
    held: dry > 0 ? sunkPartly(from.held, dry, track) : from.held,
    shift: driven.shift,
    shiftVariance: driven.shiftVariance,
    dry,
  };
}

/** How likely it is that this portion runs the tray dry, before any sensor is asked. */
function dryBefore(look: Look, from: Suspicion): number {
  if (look.food !== "runsDry") return 0;
  if (from.portions === 0) return dryAtFirst;
  return (from.portions < dryUsually ? dryStill : 0.5) * from.dry;
}

/** What the chute sensor's count speaks for this suspect, as a log likelihood ratio. */
function stepByCounts(
  look: Look,
  { counts }: SeenPortion,
  dry: number,
): { readonly step: number; readonly dry: number } {
  if (counts === null) return { step: 0, dry };
  if (dry <= 0) return { step: logFor(counts, look.chute) - counts.healthy, dry };
  const shrunk = dry * Math.exp(counts.shrunk);
  const nothing = (1 - dry) * Math.exp(counts.nothing);
  return { step: Math.log(shrunk + nothing) - counts.healthy, dry: shrunk / (shrunk + nothing) };
}

interface CurrentStep extends Pick<Suspicion, "shift" | "shiftVariance"> {
  readonly step: number;
}

/** What the motor's current speaks for this suspect, and what it teaches of the suspect's own current. */
function stepByCurrent(look: Look, { current, fell }: SeenPortion, from: Suspicion, dry: number): CurrentStep {
  if (current === null || look.shift === null) {
    return { step: 0, shift: from.shift, shiftVariance: from.shiftVariance };
  }
  const { drawn, foreseen } = current;
  const off = drawn - foreseen.mean;
  // The fault adds to whatever weather and grease have made of the healthy current.
  const first = from.portions === 0;
  const shift = first ? from.shift + foreseen.shift : from.shift;
  const shiftVariance = from.shiftVariance + (first ? foreseen.doubt : foreseen.wander);
  const loaded = 0.25 * dry * (look.shift[0] + look.shift[1]); // a tray half full draws half the difference
  const left = off - shift + loaded;
  const variance = foreseen.spread + shiftVariance;
  const ratio = logBell(left, variance) - logBell(off - foreseen.shift, foreseen.spread + foreseen.doubt);
  // Food fell, so the motor turned and the tray moved, whatever it drew: that can speak for health only.
  if (fell === true) return { step: Math.min(ratio, 0), shift, shiftVariance };
  const gain = shiftVariance / variance;
  const slack = Math.sqrt(foreseen.doubt);
  return {
    step: ratio,
    shift: Math.min(Math.max(shift + gain * left, look.shift[0] - slack), look.shift[1] + slack),
    shiftVariance: shiftVariance * (1 - gain),
  };
}

function sunkPartly(held: Held, dry: number, track: ScaleTrack): Held {
  const spread = dry * 0.3 * track.portion + dry * portionSpread(track);
  return { level: held.level - 0.5 * dry * track.portion, variance: held.variance + spread * spread };
}

function bySuspect(made: (suspect: Suspect) => Suspicion): Suspicions {
  return {
    light: made("light"),
    jammed: made("jammed"),
    stalled: made("stalled"),
    still: made("still"),
    blind: made("blind"),
    halfBlind: made("halfBlind"),
    fewSeen: made("fewSeen"),
    scaleStuck: made("scaleStuck"),
  };
}
