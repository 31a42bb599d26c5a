import type { FeedingRequest, RationRequest } from "../contract/feedingRequest.ts";
import type { PlannedDayView, PlanView, RationView } from "../contract/planView.ts";
import type { FeederState } from "../domain/feeder.ts";
import type { DayPlan } from "../domain/feedingPlan/dayPlan.ts";
import type { PlanRecord } from "../domain/feedingPlan/planRecord.ts";
import { currentPlan, type PlanState, shownPlan } from "../domain/feedingPlan/planState.ts";
import { currentPortion } from "../domain/hopper/level.ts";
import { after, hours, type Instant, isoOf } from "../domain/instant.ts";
import type { FeederSettings } from "../domain/settings.ts";
import { foodEnergy, frostRaise, rationFor } from "../domain/training/ration.ts";
import type { FeederRow } from "../ports.ts";
import { gramsText } from "../text/format.ts";
import { texts } from "../text/index.ts";
import { feedingRulesOf } from "./pure/requestedFeeding.ts";
import { seasonText } from "./pure/seasonText.ts";

/** The plan that a feeder is to carry out, and whether it has said that it does. */
export function planView({ state }: FeederRow, now: Instant): PlanView {
  return viewOf(state, state.settings, state.plan, now);
}

/** The plan that would be in force with these rules. Nothing is stored. */
export function planPreview({ state }: FeederRow, feeding: FeedingRequest, now: Instant): PlanView {
  const settings = { ...state.settings, feeding: feedingRulesOf(feeding, state.settings) };
  return viewOf(state, settings, currentPlan(state.plan, { ...state, settings }, true, now), now);
}

function viewOf(state: FeederState, settings: FeederSettings, plan: PlanState | undefined, now: Instant): PlanView {
  const { latestReadings } = state;
  const made = shownPlan(plan, settings);
  return {
    version: made?.version ?? null,
    confirmedVersion: latestReadings?.readings.planVersion ?? null,
    reportedAt: latestReadings === null ? null : isoOf(latestReadings.at),
    problem: settings.place === null ? texts.feedingPlan.noPlace : null,
    portionGrams: Math.round(100 * (plan?.portion ?? currentPortion(state.hopper, settings))) / 100,
    days: (made?.days ?? []).filter(({ to }) => to > now).map(dayView),
    todayText: todayText(state.planRecord, now),
    seasonText: seasonText({ place: settings.place, zone: settings.zone }, [state], now),
  };
}

function todayText(record: PlanRecord | undefined, now: Instant): string | null {
  if (record === undefined || record.planned === 0 || now >= after(record.from, hours(24))) return null;
  const { planned, given, causes } = record;
  const { todayAsPlanned, missed } = texts.feedingPlan;
  return given >= planned ? todayAsPlanned(planned) : missed(planned, given, causes);
}

const dayView = ({
  date,
  light,
  lit,
  free,
  portionsEach,
  frost,
  portionsMax,
  share,
  stretched,
}: DayPlan): PlannedDayView => ({
  ...{ date, light, portionsEach, portionsMax, share },
  lit: lit.to > lit.from ? { from: isoOf(lit.from), to: isoOf(lit.to) } : null,
  free: free.map(isoOf),
  frost: frost.map(isoOf),
  stretchedMinutes: stretched === null ? null : Math.round(stretched / 60_000),
});

/** The most in a day for these birds, as a supplement to what they find themselves. */
export function rationView({ birds, food, energyKilojoulesPerGram, share }: RationRequest): RationView {
  const energyPerGram = energyKilojoulesPerGram ?? foodEnergy[food];
  if (energyPerGram === null) throw new RangeError(`expected the energy of ${food}`);
  const ration = rationFor({ birds, energyPerGram, share });
  const count = birds.reduce((sum, each) => sum + each.count, 0);
  return { grams: Math.round(ration), text: texts.feedingPlan.ration(gramsText(ration), count, share, frostRaise) };
}
