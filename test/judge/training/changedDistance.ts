import type { Limits } from "../../../server/domain/intervals.ts";
import { distanceCurveOf, type StagedDay, stepEffects } from "../../../server/domain/training/stepEffects.ts";
import type { Site } from "../../learners/site.ts";
import { type AdvisedDay, liveProgramme } from "./liveProgramme.ts";

/**
 * A stage at which the keeper sets the distance anew every ten days. Goal: whether the intervals of a change's effect and of the distance curve
 * hold the truth of those days, and how often "they lose interest" is said of birds that do not. Replay: the same site.
 */
export interface ChangeFigures {
  readonly effects: Held;
  readonly curve: Held; // at each distance that was tried, once for a site
  readonly declines: { readonly sites: number; readonly unfounded: number };
}

export interface Held {
  readonly held: number;
  readonly of: number;
}

const distances = [10, 25, 60, 150].map((distanceCm, index) => ({ fromDay: 10 * index, distanceCm }));
const daysLived = 40;

/** @param firstStage index of the ready stages, with an act and a distance */
export function judgeChanges(site: Site, firstDate: string, firstStage: number): ChangeFigures {
  const days = [...liveProgramme(site, { firstDate, days: daysLived, firstStage, followsAdvice: false, distances })];
  const staged = days.map(({ stage, recorded }): StagedDay => {
    return { date: recorded.date, stage, distanceCm: stage.parameters.distanceCm, day: recorded };
  });
  return { effects: effectsHeld(days, staged), curve: curveHeld(days, staged), declines: declinesOf(days) };
}

function effectsHeld(days: readonly AdvisedDay[], staged: readonly StagedDay[]): Held {
  const steps = distances.slice(1).map(({ fromDay }) => ({
    changeId: String(fromDay),
    date: (days[fromDay] as AdvisedDay).lived.date,
  }));
  const held = stepEffects(steps, staged).map(({ changeId, limits }) => {
    const at = Number(changeId);
    const truth = trueShare(days.slice(at + 1, at + 8)) - trueShare(days.slice(at - 7, at));
    return holds(limits, truth);
  });
  return countHeld(held);
}

function curveHeld(days: readonly AdvisedDay[], staged: readonly StagedDay[]): Held {
  const curve = distanceCurveOf(staged[0]?.stage.kind === "pressForFood" ? "press" : "deposit", staged);
  if (curve === null) return { held: 0, of: 0 };
  const held = distances.map(({ fromDay, distanceCm }) => {
    const nearest = curve.points.toSorted(
      (a, b) => Math.abs(a.distanceCm - distanceCm) - Math.abs(b.distanceCm - distanceCm),
    )[0];
    return nearest !== undefined && holds(nearest.limits, trueShare(days.slice(fromDay, fromDay + 10)));
  });
  return countHeld(held);
}

/** Founded where what a bird does in a day, by its true share, fell by a tenth or more: numbers that come, and acts in a bout. */
function declinesOf(days: readonly AdvisedDay[]): ChangeFigures["declines"] {
  const interest = ({ lived: { truth } }: AdvisedDay) => truth.birdsComing * truth.actShare;
  const mean = (some: readonly AdvisedDay[]) => some.reduce((sum, day) => sum + interest(day), 0) / some.length;
  const unfounded = days.some((day, index) => {
    if (!day.judgement.decline?.isPlain) return false;
    return mean(days.slice(index - 2, index + 1)) > 0.9 * mean(days.slice(Math.max(0, index - 23), index - 2));
  });
  return { sites: 1, unfounded: unfounded ? 1 : 0 };
}

/** By the bouts that are to be expected. */
function trueShare(days: readonly AdvisedDay[]): number {
  const bouts = days.reduce((sum, { lived }) => sum + lived.truth.expectedBouts, 0);
  return days.reduce((sum, { lived }) => sum + lived.truth.expectedBouts * lived.truth.actShare, 0) / bouts;
}

const holds = ({ low, high }: Limits, value: number) => low <= value && value <= high;
const countHeld = (held: readonly boolean[]): Held => ({ held: held.filter(Boolean).length, of: held.length });
