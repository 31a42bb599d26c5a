import type { SentPlan } from "../../contract/plan.ts";
import type { FeederState } from "../../domain/feeder.ts";
import type { DayPlan } from "../../domain/feedingPlan/dayPlan.ts";
import { type EarnedPlan, type FeedingPlan, feedingPlan } from "../../domain/feedingPlan/planState.ts";
import type { Instant } from "../../domain/instant.ts";
import type { FeederSettings } from "../../domain/settings.ts";

/** The plan for an answer to this feeder; null: it is to follow none any more; undefined: there is nothing to change. */
export function planToSend({ plan, settings, latestReadings }: FeederState): SentPlan | null | undefined {
  const followed = latestReadings?.readings.planVersion ?? null;
  if (plan === undefined) return undefined;
  if (settings.feeding === undefined) return followed === null ? undefined : null;
  if (followed === plan.version) return undefined;
  const made = feedingPlan(plan, settings);
  return made === null ? undefined : sentPlan(made, settings);
}

const sentPlan = ({ version, days, press, deposit }: FeedingPlan, { feeding }: FeederSettings): SentPlan => ({
  version,
  portionsEach: days[0]?.portionsEach ?? 0,
  frostBelowCelsius: feeding?.frostFloor?.below ?? null,
  paysDepositsOverRation: feeding?.paysDepositsOverRation ?? true,
  days: days.map(sentDay),
  press: sentEarned(press),
  deposit: sentEarned(deposit),
});

function sentDay({ from, to, portionsMax, free, frost }: DayPlan): SentPlan["days"][number] {
  const after = (at: Instant) => Math.round((at - from) / 1_000);
  return { from: from / 1_000, to: to / 1_000, portionsMax, free: free.map(after), frost: frost.map(after) };
}

const sentEarned = (earned: EarnedPlan | null): SentPlan["press"] =>
  earned && { ratios: [...earned.ratios], betweenSeconds: earned.atLeastBetween / 1_000 };
