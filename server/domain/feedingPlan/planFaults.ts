import { texts } from "../../text/index.ts";
import type { Fault } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import { after, hours, type Instant, minutes, type Span } from "../instant.ts";
import type { PlanRecord } from "./planRecord.ts";

/** Faults of a feeding plan: the feeder doesn't take it, or leaves out what it has taken. */
export function planFaults(state: FeederState, now: Instant, paused: boolean): readonly Fault[] {
  return [...notTakenFault(state), ...(paused ? [] : missedFault(state.planRecord, now))];
}

/** A new plan goes out with the answer to a report; the next one says that it was taken. Then a feeder has time to try again. */
function notTakenFault({ plan, latestReadings, settings }: FeederState): readonly Fault[] {
  if (plan === undefined || settings.feeding === undefined || latestReadings === null) return [];
  const { at, readings } = latestReadings;
  const followed = readings.planVersion;
  const due = after(plan.madeAt, (2 * settings.reportEvery + notTakenAfter) as Span);
  if (followed === plan.version || at < due) return [];
  const text = texts.feedingPlan;
  return [
    {
      kind: "planNotTaken",
      reason: followed === null ? text.notTaken : text.earlierFollowed(followed, plan.version),
      evidence: [
        { label: text.madeLabel, value: text.version(plan.version), at: plan.madeAt },
        { label: text.followedLabel, value: followed === null ? text.none : text.version(followed), at },
      ],
      confidence: null,
    },
  ];
}

const notTakenAfter = minutes(15);

/** Fewer may be chance: a portion that the server took for another, a minute on either side of midnight. Our choice. */
const missedTimesMin = 2;
const missedShareMin = 0.2;

function missedFault(record: PlanRecord | undefined, now: Instant): readonly Fault[] {
  if (record === undefined || now >= after(record.from, hours(25))) return [];
  const { planned, given, each, causes, judgedUntil } = record;
  const missing = planned - given;
  if (missing < missedTimesMin * each || missing < missedShareMin * planned) return [];
  const text = texts.feedingPlan;
  return [
    {
      kind: "freeFoodMissed",
      reason: text.missed(planned, given, causes),
      evidence: [
        { label: text.plannedLabel, value: text.portions(planned), at: judgedUntil },
        { label: text.givenLabel, value: text.portions(given), at: null },
      ],
      confidence: null,
    },
  ];
}
