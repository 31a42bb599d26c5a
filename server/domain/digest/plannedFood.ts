import { texts } from "../../text/index.ts";
import type { FeederState } from "../feeder.ts";
import type { PlannedAndGiven } from "../feedingPlan/planRecord.ts";
import { addLocalDays, type LocalDate, startOfLocalDay } from "../localTime.ts";
import { type DigestFeeder, nameOf } from "./digestFeeder.ts";
import { groupLines } from "./limitLines.ts";

/** Free food of the day before the digest's, beside what the feeding plan had; empty where no feeder follows a plan. */
export function plannedFoodLines(feeders: readonly DigestFeeder[], date: LocalDate): readonly string[] {
  return groupLines(
    feeders.flatMap((feeder) => {
      const day = dayOf(feeder.state, addLocalDays(date, -1));
      return day === null || day.planned === 0 ? [] : [{ name: nameOf(feeder), text: dayText(day) }];
    }),
  );
}

function dayOf({ planRecord, settings }: FeederState, date: LocalDate): PlannedAndGiven | null {
  const begin = startOfLocalDay(date, settings.zone);
  if (planRecord?.from === begin) return planRecord;
  return planRecord?.dayBefore?.from === begin ? planRecord.dayBefore : null;
}

function dayText({ planned, given, causes }: PlannedAndGiven): string {
  const text = texts.feedingPlan;
  return given >= planned ? text.dayAsPlanned(planned) : text.dayMissed(planned, given, causes);
}
