import type {
  AdviceView,
  BrokenPromiseView,
  JudgementView,
  KeptView,
  ProgrammeChangeView,
} from "../../contract/trainingView.ts";
import { ruleOf } from "../../domain/faults.ts";
import { after, type Instant, isoOf, minutes } from "../../domain/instant.ts";
import type { Advice, AdviceReason, ChangeOfMind } from "../../domain/training/adviseStage.ts";
import { criterionError } from "../../domain/training/criterionTest.ts";
import { delayedWorth } from "../../domain/training/delayDiscounting.ts";
import { isJudgedDay, type StageJudgement } from "../../domain/training/judgeStage.ts";
import type { KeptShare } from "../../domain/training/keptShare.ts";
import { capsCountedOver } from "../../domain/training/misplacedCaps.ts";
import { nextStage, type Programme, previousStage } from "../../domain/training/programme.ts";
import type { FoodPromise } from "../../domain/training/promises.ts";
import { mergedContingency } from "../../domain/training/siteDay.ts";
import { actOf, type Stage } from "../../domain/training/stage.ts";
import type { Exclusion, TrainingDay } from "../../domain/training/trainingDay.ts";
import { eventOfKey } from "../../domain/training/trainingEvent.ts";
import type { ProgrammeChangeRow } from "../../ports.ts";
import { texts } from "../../text/index.ts";

/** What the training record says, as a keeper reads it. */

export function adviceView(
  advice: Advice,
  stage: Stage,
  judged: StageJudgement,
  programme: Programme,
  capsOnDish: number,
): AdviceView {
  const { kind, reasons, wouldChange, pauseStage } = advice;
  const to =
    kind === "moveOn"
      ? nextStage(programme, stage.id)
      : kind === "stepBack"
        ? previousStage(programme, stage.id)
        : null;
  return {
    ...{ kind, pauseStage },
    title: texts.training.advice[kind],
    reasons: reasons.map((reason) =>
      reasonText(reason, { stage, judged, keptMin: programme.keptMin, act: actOf(stage.kind), capsOnDish }),
    ),
    wouldChange: wouldChange.map((change) => changeOfMindText(change, stage, programme)),
    to: to && { stage: to.id, name: to.name },
  };
}

function reasonText(reason: AdviceReason, source: ReasonSource): string {
  const found = reasonTexts[reason];
  return typeof found === "string" ? found : found(source);
}

interface ReasonSource {
  readonly stage: Stage;
  readonly judged: StageJudgement;
  readonly keptMin: number;
  readonly act: ReturnType<typeof actOf>;
  readonly capsOnDish: number;
}

const { reasons: text } = texts.training;
const shareNow = ({ recent }: StageJudgement): number => recent?.share ?? 0;

const reasonTexts: { readonly [reason in AdviceReason]: string | ((of: ReasonSource) => string) } = {
  faultStands: text.faultStands,
  littleJudged: text.littleJudged,
  noPerch: text.noPerch,
  aboveChance: text.aboveChance,
  notAboveChance: text.notAboveChance,
  lastStage: text.lastStage,
  promisesBroken: ({ judged: { kept }, keptMin }) => text.promisesBroken(kept.share ?? 0, keptMin),
  tooFewDays: ({ judged, stage }) => text.tooFewDays(judged.judgedDays, stage.criterion.days),
  tooFewBouts: ({ judged, act }) => text.tooFewBouts(act, judged.bouts ?? 0),
  criterionMet: ({ judged, act }) => text.criterionMet(act, shareNow(judged), judged.recent?.days ?? 0),
  grownWithoutPerch: ({ judged, act }) => text.grownWithoutPerch(judged.growth?.ratio ?? 1, act),
  shareTooLow: ({ judged, stage, act }) => text.shareTooLow(act, shareNow(judged), stage.criterion.share),
  actsTooFew: ({ judged, stage, act }) =>
    text.actsTooFew(act, judged.recent?.actsADayLeast ?? 0, stage.criterion.actsADay),
  usualTimeOver: ({ judged, stage }) => text.usualTimeOver(judged.daysInStage, stage.usualDays.to),
  lost: ({ judged }) => text.lost(judged.bestShare ?? 0, shareNow(judged)),
  capsOnDish: ({ capsOnDish }) => text.capsOnDish(capsOnDish, capsCountedOver),
  declined: ({ judged }) => text.declined(judged.decline?.ratio ?? 1),
};

function changeOfMindText(change: ChangeOfMind, { criterion }: Stage, { keptMin }: Programme): string {
  const text = texts.training.wouldChange;
  switch (change) {
    case "shareReached":
      return text.shareReached(criterion.share, criterion.days);
    case "actsReached":
      return text.actsReached(criterion.actsADay);
    case "keptAgain":
      return text.keptAgain(keptMin);
    case "feederMended":
    case "moreDays":
    case "perchSwitch":
    case "shareFalls":
      return text[change];
  }
}

export function judgementView(stage: Stage, judged: StageJudgement, days: readonly TrainingDay[]): JudgementView {
  const { daysInStage, judgedDays, bouts, recent, evidence, decline, kept } = judged;
  const merged = mergedContingency(days.filter(isJudgedDay).map(({ contingency }) => contingency));
  const latency = kept.latency?.p50 ?? null;
  return {
    ...{ daysInStage, judgedDays, bouts },
    recent,
    evidence: {
      aboveChance: roughly(Math.exp(evidence.aboveChance)),
      belowCriterion: roughly(Math.exp(evidence.belowCriterion)),
      decides: 1 / criterionError,
    },
    changePoints: judged.changes.map(({ from, shareBefore, shareAfter }) => ({
      date: dateOfSession(days, from),
      before: shareBefore,
      after: shareAfter,
    })),
    decline: decline && { ratio: decline.ratio, limits: decline.limits, plain: decline.isPlain },
    kept: keptView(kept),
    contingency: { deltaP: merged.deltaP, binSeconds: merged.bin / 1_000 },
    delayedWorth: latency === null ? null : delayedWorth(latency / 1_000),
    text: judgementText(stage, judged),
  };
}

const dateOfSession = (days: readonly TrainingDay[], from: number): string =>
  days.find(({ sessions }) => sessions.some((session) => session.from === from))?.date ?? "";

/** Three figures are all that evidence is good for, and 1e300 says no more than a million. */
const roughly = (value: number): number => Number(Math.min(value, 1e6).toPrecision(3));

function judgementText({ kind }: Stage, { recent }: StageJudgement): string {
  const text = texts.training.judgement;
  if (recent === null) return text.noDays;
  const act = actOf(kind);
  const { share, successes, trials, days, beta, actsADayLeast } = recent;
  const seen =
    share === null
      ? text.acts(act, actsADayLeast, days)
      : text.share({ act, successes, trials, days, low: beta.low, high: beta.high });
  return `${seen} ${text.site}`;
}

export const keptView = ({ promised, paid, share, limits, latency }: KeptShare): KeptView => ({
  ...{ promised, paid, share, limits },
  latencyMs: latency,
});

// --- the ledger ----------------------------------------------------------------------------------------------------

/** An alarm is raised some time after its fault began. */
const causeWithin = minutes(60);
const promisesListed = 50;

export interface BrokenPromise extends Omit<BrokenPromiseView, "at" | "still"> {
  readonly at: Instant;
  readonly event: ReturnType<typeof eventOfKey>; // the act's first
}

export function brokenPromises(
  feeders: readonly {
    readonly feeder: string;
    readonly days: ReadonlyMap<string, TrainingDay>;
    readonly exclusions: readonly Exclusion[];
  }[],
): readonly BrokenPromise[] {
  const broken = feeders.flatMap(({ feeder, days, exclusions }) =>
    [...days.values()]
      .flatMap(({ ledger }) => ledger.promises)
      .flatMap((promise) => brokenPromise(feeder, promise, exclusions) ?? []),
  );
  return broken.sort((a, b) => b.at - a.at).slice(0, promisesListed);
}

function brokenPromise(feeder: string, promise: FoodPromise, exclusions: readonly Exclusion[]): BrokenPromise | null {
  const { at, act, outcome, key } = promise;
  if (outcome === "paid") return null;
  return { feeder, act, outcome, at, event: eventOfKey(key), cause: causeOfPromise(promise, exclusions) };
}

/** The fault that stood when a promise was broken; null: none did, or it was kept. */
export function causeOfPromise({ at, outcome }: FoodPromise, exclusions: readonly Exclusion[]): string | null {
  if (outcome === "paid") return null;
  const cause = exclusions.find(({ fault, from, to }) => fault !== null && from <= after(at, causeWithin) && at < to);
  return cause?.fault == null ? null : ruleOf(cause.fault).title;
}

// --- changes -------------------------------------------------------------------------------------------------------

export const changeView = (
  { id, at, by, reason, undone, content }: ProgrammeChangeRow,
  { stages }: Programme,
): ProgrammeChangeView => ({
  ...{ id, by, reason, at: isoOf(at) },
  text: contentText(content, (stage) => stages.find((one) => one.id === stage)?.name ?? stage),
  undone: undone && { at: isoOf(undone.at), by: undone.by },
});

function contentText(content: ProgrammeChangeRow["content"], nameOf: (stage: string) => string): string {
  const text = texts.training.changes;
  switch (content.kind) {
    case "stageStarted":
      return text.stageStarted(nameOf(content.stage));
    case "parametersChanged":
      return text.parametersChanged(nameOf(content.stage), parametersText(content.parameters));
    case "stagesEdited":
      return text.stagesEdited;
    case "keptMinChanged":
      return text.keptMinChanged(content.keptMin);
  }
}

type Parameters = Extract<ProgrammeChangeRow["content"], { kind: "parametersChanged" }>["parameters"];

function parametersText({ distanceCm, capsLaid, capsWhere, slotOpeningMm, gramsEach }: Parameters): string {
  const text = texts.training.changes;
  return [
    text.distance(distanceCm),
    ...(capsLaid === null ? [] : [text.capsLaid(capsLaid)]),
    ...(capsWhere === null ? [] : [text.capsWhere(capsWhere)]),
    ...(slotOpeningMm === null ? [] : [text.slotOpening(slotOpeningMm)]),
    ...(gramsEach === null ? [] : [text.gramsEach(gramsEach)]),
  ].join(", ");
}
