import type { HopperState } from "../hopper/hopperState.ts";
import { currentPortion } from "../hopper/level.ts";
import type { Instant } from "../instant.ts";
import { addLocalDays, type LocalDate, localDateOf, localDaysBetween } from "../localTime.ts";
import type { FeederSettings } from "../settings.ts";
import { type Grams, grams } from "../units.ts";
import { type DayPlan, type PlanContext, planDay, planLimits } from "./dayPlan.ts";
import type { EarnedFood, FeedingRules } from "./feedingRules.ts";
import { isTapered, taperEnd } from "./taper.ts";
import { ratioList } from "./variableSchedule.ts";

/** Which plan a feeder is to carry out: with the rules in its settings, all of the plan follows from this. */
export interface PlanState {
  /** One more with each change, so that a feeder's word for it says which one it follows. */
  readonly version: number;
  readonly firstDate: LocalDate;
  readonly madeAt: Instant;
  /** What a portion weighed when the plan was made. */
  readonly portion: Grams;
}

/** The plan as a feeder carries it out, without asking anybody. */
export interface FeedingPlan {
  readonly version: number;
  readonly days: readonly DayPlan[];
  readonly press: EarnedPlan | null;
  readonly deposit: EarnedPlan | null;
}

/** `ratios`: how many acts each portion takes, one after the other and then from the front again. */
export interface EarnedPlan {
  readonly ratios: readonly number[];
  readonly atLeastBetween: EarnedFood["atLeastBetween"];
}

/** A plan is sent for so many days, and made anew when a third of them has passed: a week without network always finds food. */
const daysPlanned = planLimits.days;
const madeAnewAfterDays = 4;
/** A portion that weighs so much more or less makes another plan. */
const portionChange = 0.15;

/**
 * The plan to carry out from now on: the one so far, unless the rules have changed, its days are used up or a portion weighs otherwise.
 * Undefined where the keeper has entered no rules, or not where the feeder stands: without a place there is no daylight.
 */
export function currentPlan(
  plan: PlanState | undefined,
  state: { readonly settings: FeederSettings; readonly hopper: HopperState },
  rulesChanged: boolean,
  now: Instant,
): PlanState | undefined {
  const { settings, hopper } = state;
  if (settings.feeding === undefined || settings.place === null) return plan;
  const today = localDateOf(now, settings.zone);
  const portion = currentPortion(hopper, settings);
  if (plan !== undefined && !rulesChanged) {
    const isUsedUp = localDaysBetween(plan.firstDate, today) >= madeAnewAfterDays || today < plan.firstDate;
    if (
      !isUsedUp &&
      !hasEnded(settings.feeding, plan.firstDate, today) &&
      Math.abs(portion / plan.portion - 1) < portionChange
    )
      return plan;
  }
  const version = (plan?.version ?? 0) + 1;
  return { version, firstDate: today, madeAt: now, portion: grams(Math.round(100 * portion) / 100) };
}

/** Since the plan was made, the last day with food has passed: the next one promises nothing for a press or a deposit. */
const hasEnded = ({ taper }: FeedingRules, firstDate: LocalDate, today: LocalDate): boolean =>
  isTapered(taper, today) && !isTapered(taper, firstDate);

/** What a press and a deposit earn by this plan. */
export const earnedByPlan = (
  { firstDate }: PlanState,
  { press, deposit, taper }: FeedingRules,
): Pick<FeedingRules, "press" | "deposit"> =>
  isTapered(taper, firstDate) ? { press: null, deposit: null } : { press, deposit };

/** Of the plan that is in force, the day with this moment; null where it has none. */
export function plannedDay(plan: PlanState | undefined, settings: FeederSettings, at: Instant): DayPlan | null {
  const source = planSource(plan, settings);
  if (plan === undefined || source === null) return null;
  const date = localDateOf(at, settings.zone);
  const ahead = localDaysBetween(plan.firstDate, date);
  if (ahead < 0 || ahead >= daysPlanned) return null;
  const known = plannedDays.get(plan);
  if (known !== undefined && known.day.date === date && known.settings === settings) return known.day;
  const day = planDay(source.rules, source.context, date);
  plannedDays.set(plan, { day, settings });
  return day;
}

/** Each report asks for today, and the sun's times cost more than all else of a report. */
const plannedDays = new WeakMap<PlanState, { readonly day: DayPlan; readonly settings: FeederSettings }>();

/** What the days of a plan are made from; null where there is none, or no place. */
function planSource(
  plan: PlanState | undefined,
  { feeding, place, zone }: FeederSettings,
): { readonly rules: FeedingRules; readonly context: PlanContext } | null {
  if (plan === undefined || feeding === undefined || place === null) return null;
  return { rules: feeding, context: { seed: feeding.seed, place, zone, portion: plan.portion } };
}

/** No preview reaches further, so that rules that end in a year cost no more than others. */
const daysShownMax = 45;

/** The plan as a keeper is shown it: also the days beyond those that the feeder has, until one with nothing. */
export function shownPlan(plan: PlanState | undefined, settings: FeederSettings): FeedingPlan | null {
  const { taper } = settings.feeding ?? {};
  const untilEnd =
    plan === undefined || taper === undefined ? 0 : localDaysBetween(plan.firstDate, taperEnd(taper)) + 1;
  return feedingPlan(plan, settings, Math.min(daysShownMax, Math.max(daysPlanned, untilEnd)));
}

/** What a feeder is told; null where there is nothing to tell. */
export function feedingPlan(
  plan: PlanState | undefined,
  settings: FeederSettings,
  days: number = daysPlanned,
): FeedingPlan | null {
  const source = planSource(plan, settings);
  if (plan === undefined || source === null) return null;
  const { rules, context } = source;
  const { press, deposit } = earnedByPlan(plan, rules);
  const earned = (food: EarnedFood | null): EarnedPlan | null =>
    food === null ? null : { ratios: ratioList(food.ratio, rules.seed), atLeastBetween: food.atLeastBetween };
  return {
    version: plan.version,
    days: Array.from({ length: days }, (_, index) => planDay(rules, context, addLocalDays(plan.firstDate, index))),
    press: earned(press),
    deposit: earned(deposit),
  };
}
