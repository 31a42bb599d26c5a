import type { Instant } from "../instant.ts";
import type { Suspect } from "./looks.ts";
import type { Likely, Name } from "./naming.ts";
import { waldBounds, weigh } from "./sequentialTest.ts";

/**
 * That something is wrong with the feed, from the portion that proved it until food is seen to fall again. Which it is may
 * be clear at once or only later: the name sharpens while the verdict stands.
 */
export interface Verdict {
  readonly since: Instant;
  readonly portions: number; // given since
  readonly against: number; // evidence for health since the last that spoke for the fault; at most 0
  readonly named: Name | null; // the last name that was sure
  readonly suspect: Suspect; // what was foremost when the last portion spoke for it
}

/**
 * As sure as a name must be: the rest of the time it is wrong, and one in twenty is the most that is wanted. While a portion or
 * two more may settle it (`settles`) it must be surer, since a wrong name sends the keeper out with the wrong tool.
 */
const sureFrom = 0.92;
const sureAtOnce = 0.98;
export const settles = 1; // portions

/** A name that was sure once stays until it has become unlikely: words that change with each portion help nobody. */
const dropsBelow = 0.25;
/**
 * To call a sensor blind takes the urgency out of an alarm. By the motor's current alone, whose lesson about wedged
 * trays is only common practice, that takes more.
 */
const sureByCurrentAlone = 0.995;

export function nameIn(likely: readonly Likely[], verdict: Verdict, scale: boolean): Name | null {
  const [first] = likely;
  if (first === undefined) return null;
  // Food that begins to fall again fits none of the faults well: what was wrong keeps its name until it is over, or the keeper
  // who has just mended a jam would be rung for "no food falls".
  if (verdict.against < 0 && verdict.named !== null) return verdict.named;
  // A sensor that misses many and one that misses all are one fault to the keeper.
  const chance = accused(first.name) ? chanceOf(likely, accused) : first.chance;
  const sure = accused(first.name) && !scale ? sureByCurrentAlone : verdict.portions < settles ? sureAtOnce : sureFrom;
  if (chance >= sure) return first.name;
  const kept = likely.find(({ name }) => name === verdict.named);
  return kept !== undefined && kept.chance >= dropsBelow ? kept.name : null;
}

const accused = (name: Name): boolean => name === "blind" || name === "halfBlind";

/** How likely it is any of those that fit. */
export const chanceOf = (likely: readonly Likely[], fits: (name: Name) => boolean): number =>
  likely.reduce((sum, { name, chance }) => (fits(name) ? sum + chance : sum), 0);

/**
 * Food that falls is believed after two portions, as a fault is after two or three: one kernel shaken loose is no repair. By
 * the scale alone it takes three readings, since a gust lasts for more than one. That health is taken for granted again is a
 * sequential test of its own: of what is still broken it may call one in 400 well.
 */
const bounds = waldBounds({ falseAlarm: 1e-5, missed: 0.0025 });
const portionMost = 4;
const readingMost = 2.5;

/**
 * The newest portion or reading changed the foremost suspect's sum by `step`. What it says is held against that one
 * suspect until it is cleared or confirmed: what else a fault has dragged along must not outlive it. Null: it is cleared.
 */
export function weighedAnew(verdict: Verdict, step: number, first: Suspect, by: "portion" | "reading"): Verdict | null {
  const bounded = Math.max(step, by === "portion" ? -portionMost : -readingMost);
  const test = weigh({ verdict: "faulty", evidence: verdict.against }, bounded, bounds);
  if (test.verdict === "healthy") return null;
  const against = test.evidence;
  return { ...verdict, against, suspect: against === 0 ? first : verdict.suspect };
}
