import { addLocalDays, instantOfLocal, type LocalDate, localTimeOf } from "../../../server/domain/localTime.ts";
import { civilDayAround } from "../../../server/domain/sun.ts";
import { isWithin, type TimeSpan } from "../../../server/domain/timeSpans.ts";
import { type Advice, adviseStage } from "../../../server/domain/training/adviseStage.ts";
import { judgeStage, type StageJudgement } from "../../../server/domain/training/judgeStage.ts";
import { readyStages } from "../../../server/domain/training/readyStages.ts";
import type { Stage } from "../../../server/domain/training/stage.ts";
import { type Exclusion, type TrainingDay, trainingDay } from "../../../server/domain/training/trainingDay.ts";
import type { Conditions, LivedDay, Site } from "../../learners/site.ts";

/**
 * A programme lived by the server's advice: each morning the record so far is judged, and a keeper who believes all of it moves on, steps back
 * or stays. Goal: the advice of each day beside the truth of the site. Replay: the same site and the same first day.
 */
export interface AdvisedDay {
  readonly stage: Stage;
  readonly dayInStage: number;
  readonly lived: LivedDay;
  readonly recorded: TrainingDay;
  readonly judgement: StageJudgement;
  readonly advice: Advice;
}

export interface ProgrammeOptions {
  readonly firstDate: LocalDate;
  readonly days: number;
  readonly firstStage: number; // index
  /** False: whatever is advised, the stage stays. */
  readonly followsAdvice: boolean;
  /** Distances that the keeper sets in place of the stage's own, each from a day on. */
  readonly distances?: readonly { readonly fromDay: number; readonly distanceCm: number }[];
}

const names = { comeForFood: "1", pressForFood: "2", nudgeCap: "3", dropCap: "4", fetchCap: "5" };
export const stages = readyStages(names);

export function* liveProgramme(site: Site, options: ProgrammeOptions): Generator<AdvisedDay> {
  let index = options.firstStage;
  let record: TrainingDay[] = [];
  for (let day = 0; day < options.days; day += 1) {
    const date = addLocalDays(options.firstDate, day);
    const stage = withDistance(stages[index] as Stage, options.distances ?? [], day);
    const lit = litSpan(site, date);
    const lived = site.live(date, conditionsOf(stage, lit));
    const recorded = recordedDay(site, stage, lived, lit);
    record.push(recorded);
    const judgement = judgeStage(stage, record);
    const evening = lit.to;
    const advice = adviseStage(stage, judgement, {
      hasFault: lived.faults.some((fault) => isFeederFault(fault.kind) && isWithin(fault, evening)),
      keptMin: 0.9,
      hasNext: index < stages.length - 1,
      hasPrevious: index > 0,
    });
    yield { stage, dayInStage: record.length, lived, recorded, judgement, advice };
    if (!options.followsAdvice) continue;
    const step = advice.kind === "moveOn" ? 1 : advice.kind === "stepBack" ? -1 : 0;
    if (step !== 0) record = [];
    index += step;
  }
}

function withDistance(stage: Stage, distances: NonNullable<ProgrammeOptions["distances"]>, day: number): Stage {
  const set = distances.findLast(({ fromDay }) => fromDay <= day);
  return set === undefined ? stage : { ...stage, parameters: { ...stage.parameters, distanceCm: set.distanceCm } };
}

function litSpan({ place, zone }: Site, date: LocalDate): TimeSpan {
  const { dawn, dusk } = civilDayAround(place, instantOfLocal(date, "12:00", zone));
  return { from: dawn, to: dusk };
}

function conditionsOf({ kind, earns, parameters }: Stage, lit: TimeSpan): Conditions {
  return {
    stage: kind,
    freePortions: earns.free === null ? 0 : Math.max(1, Math.floor((lit.to - lit.from) / earns.free.mean)),
    distanceCm: parameters.distanceCm,
    capsLaid: parameters.capsLaid ?? 0,
    gramsEach: 2,
    paysEvery: 1,
  };
}

const isFeederFault = (kind: LivedDay["faults"][number]["kind"]) => kind !== "paused" && kind !== "offline";

function recordedDay(site: Site, stage: Stage, { date, events, boot, weather, faults }: LivedDay, lit: TimeSpan) {
  const excluded = faults.flatMap(({ from, to, kind }): Exclusion[] => {
    if (kind === "offline") return [];
    return [{ from, to, why: kind === "paused" ? "paused" : "fault", fault: kind === "paused" ? null : "foodOut" }];
  });
  const air = weather.filter(({ at }) => isWithin(lit, at));
  return trainingDay({
    ...{ date, stage: stage.kind, lit, excluded },
    events: events.map((event) => ({ ...event, boot })),
    airCelsius: air.length === 0 ? null : air.reduce((sum, { airCelsius }) => sum + airCelsius, 0) / air.length,
    seesVisits: site.hasPerch,
    pressesArePromises: stage.earns.press !== null,
    hourOf: (at) => Number(localTimeOf(at, site.zone).slice(0, 2)),
  });
}
