import { type Instant, minutes, type Span, seconds } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { grams } from "../units.ts";
import { ate } from "./appetite.ts";
import { started, type Weighed } from "./firstReading.ts";
import type { HopperState, Jump } from "./level.ts";
import { doubted } from "./levelFilter.ts";
import { sameRefillWithin } from "./refill.ts";
import { creepDoubt } from "./scaleModel.ts";

/** A reading far off what was expected: by `off` grams, where `gate` would have been usual. */
export interface FarReading {
  readonly reading: number;
  readonly off: number;
  readonly warmer: number; // K, of the cell, against its taring
  readonly at: Instant;
  readonly gate: number;
  readonly unreported: boolean; // birds eat without portion events
}

/**
 * What stays is believed: what was poured in, or what is gone. A bird sits there for seconds or minutes, and shifts its weight;
 * a gust is over at once. So the first reading only opens the question.
 */
export function jumped(hopper: HopperState, far: FarReading, settings: FeederSettings): Weighed {
  const { jump } = hopper;
  const opened: Jump = { grams: hopper.belief.level + far.off, off: far.off, at: far.at, count: 1 };
  // A rise must have come to rest; a fall may go on, since birds may be eating.
  const agrees =
    jump !== null &&
    jump.off > 0 === far.off > 0 &&
    (far.off < 0 || Math.abs(far.off - jump.off) <= Math.max(far.gate, restless * far.off));
  if (!agrees) return { hopper: { ...hopper, jump: opened }, refillFound: null };
  const again: Jump = { grams: opened.grams, off: far.off, at: jump.at, count: jump.count + 1 };
  const { readings, span } = mustLast(hopper, far);
  if (again.count < readings || far.at - jump.at < span)
    return { hopper: { ...hopper, jump: again }, refillFound: null };
  return far.off > 0 ? risen(hopper, far, jump.at, settings) : fallen(hopper, far, settings);
}

/** A bird that sits still may weigh in two readings alike within so much of itself. */
const restless = 0.02;

/** How often and how long what is new must be seen before it is believed. Common practice, no source. */
function mustLast(hopper: HopperState, { off, at }: FarReading): { readonly readings: number; readonly span: Span } {
  if (off < 0 || toldJustNow(hopper, at)) return { readings: 2, span: seconds(20) };
  // No corvid weighs so much or so little, and two at once don't sit still.
  if (off < birdMin || off > birdMax) return { readings: 3, span: minutes(2) };
  return { readings: 3, span: minutes(5) };
}
const birdMin = 130;
const birdMax = 700;

const toldJustNow = (hopper: HopperState, at: Instant): boolean =>
  hopper.toldAt !== null && at - hopper.toldAt <= sameRefillWithin;

function risen(hopper: HopperState, far: FarReading, since: Instant, settings: FeederSettings): Weighed {
  const told = toldJustNow(hopper, far.at);
  // So little nobody pours in: the lid was laden while nobody weighed, or something else lies there.
  if (!told && far.off < pouredMin * settings.hopperCapacity) {
    const laden = doubted(hopper.belief, { lid: far.off * far.off });
    return {
      hopper: started({ ...hopper, belief: laden }, far, settings, far.off * far.off),
      refillFound: null,
    };
  }
  const creeping = doubted(hopper.belief, { wander: creepDoubt(far.off) });
  const next = started({ ...hopper, belief: creeping }, far, settings);
  const refillFound = told ? null : grams(far.off);
  return { hopper: { ...next, found: { grams: far.off, at: since } }, refillFound };
}
const pouredMin = 0.03;

function fallen(hopper: HopperState, far: FarReading, settings: FeederSettings): Weighed {
  const { belief } = hopper;
  // What lay on the lid slid off: the food is as it was.
  if (belief.lid > 0.3 * -far.off && -far.off <= 2 * belief.lid + far.gate) {
    const slid = doubted(belief, { lid: far.off * far.off });
    return {
      hopper: started({ ...hopper, belief: slid }, far, settings, 0),
      refillFound: null,
    };
  }
  const next = started(hopper, far, settings);
  // What sank far and stayed there without portions was eaten unreported, unless it only takes back a rise just found.
  const takenBack = hopper.found !== null && far.at - hopper.found.at <= sameRefillWithin;
  if (!far.unreported || takenBack) return { hopper: next, refillFound: null };
  return { hopper: { ...next, appetite: ate(next.appetite, -far.off, far.at, settings) }, refillFound: null };
}
