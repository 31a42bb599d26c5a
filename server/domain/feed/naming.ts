import { emptyMark, type HopperLevel } from "../hopper/level.ts";
import { ninetyPercent } from "../hopper/ninetyPercent.ts";
import { logNormalTail } from "../normalTail.ts";
import type { FeederSettings } from "../settings.ts";
import { onsets } from "./looks.ts";
import type { Suspicions } from "./suspicion.ts";

/** What can be told: a tray that runs without food is called by what its hopper holds. */
export const names = ["empty", "bridged", "jammed", "stalled", "still", "blind", "halfBlind", "scaleStuck"] as const;
export type Name = (typeof names)[number];

export interface Likely {
  readonly name: Name;
  readonly chance: number; // given that one of them is true
}

/**
 * Given that something is wrong: how likely it is each of these, the likeliest first. Bayes' rule over the sums of evidence,
 * which decides between several causes as soon as one is likely enough (Baum & Veeravalli 1994, IEEE Trans. Inf. Theory 40:1994).
 * `level`: in the hopper, null where not known. `sprang`: the scale fell by far more than was given.
 */
export function likelyNames(
  suspicions: Suspicions,
  level: HopperLevel | null,
  settings: FeederSettings,
  sprang: boolean,
): readonly Likely[] {
  const stuck = sprang ? Math.max(onsets.scaleStuck, sprangStuck) : onsets.scaleStuck;
  const weights: Record<Name, number> = {
    empty: Math.log(runsOut(level, settings)) + suspicions.light.sum,
    bridged: Math.log(onsets.bridged) + suspicions.light.sum,
    jammed: Math.log(onsets.jammed) + suspicions.jammed.sum,
    stalled: Math.log(onsets.stalled) + suspicions.stalled.sum,
    still: Math.log(onsets.still) + suspicions.still.sum,
    blind: Math.log(onsets.blind) + suspicions.blind.sum,
    halfBlind: logAdded(
      Math.log(onsets.halfBlind) + suspicions.halfBlind.sum,
      Math.log(onsets.fewSeen) + suspicions.fewSeen.sum,
    ),
    scaleStuck: Math.log(stuck) + suspicions.scaleStuck.sum,
  };
  const most = Math.max(...names.map((name) => weights[name]));
  const odds = names.map((name) => ({ name, odds: Math.exp(weights[name] - most) }));
  const all = odds.reduce((sum, one) => sum + one.odds, 0);
  return odds.map(({ name, odds: one }) => ({ name, chance: one / all })).sort((a, b) => b.chance - a.chance);
}

/** A scale that falls to another value at once and stays there is about as often broken as emptied by a hand. */
const sprangStuck = 0.05;
/** A level can be grossly wrong: food was spilt or taken, the keeper misspoke. Common practice, no source. */
const runsOutLeast = 1e-5;
/** Where a scale is fitted, that has been seen. */
const runsOutLeastByScale = 1e-6;
/** Where nothing is known about the level, running out is as likely as all that stops food besides. */
const runsOutUnknown = onsets.jammed + onsets.bridged;

/**
 * The chance that the food ran out just at this portion, given that it hadn't before: the last of it lies in the corners, so
 * that it stops falling somewhere between the mark and nothing.
 */
function runsOut(level: HopperLevel | null, settings: FeederSettings): number {
  if (level === null) return runsOutUnknown;
  const mark = emptyMark(settings);
  // The interval is cut off at zero: its upper half tells the doubt.
  const doubt = Math.max((level.high - level.grams) / ninetyPercent, settings.portionMass / 2);
  const below = (bound: number) => Math.exp(logNormalTail(-(bound - level.grams) / doubt));
  const notBefore = 1 - below(0);
  const perGram = (below(mark) - below(0)) / mark;
  return Math.max(
    Math.min((settings.portionMass * perGram) / Math.max(notBefore, 1e-6), 0.5),
    settings.sensors.scale ? runsOutLeastByScale : runsOutLeast,
  );
}

const logAdded = (a: number, b: number): number => Math.max(a, b) + Math.log1p(Math.exp(-Math.abs(a - b)));
