import type { Instant } from "../instant.ts";
import type { Stage, StageParameters } from "./stage.ts";

/**
 * A yard's programme: a row of stages, and which one the birds are at. It is made from dated changes, each with its reason, so that the effect
 * of a change can be read and a change can be undone: what was undone is left out, as if it had not been made.
 */
export interface Programme {
  readonly stages: readonly Stage[];
  /** The stages that were started, in order of time; the last one is the present one. */
  readonly periods: readonly StagePeriod[];
  /** Moments at which a parameter of the present stage, or anything else of it, was changed while it lasted. */
  readonly steps: readonly ShapingStep[];
  /** Below this share of promises kept a stage is better paused than gone on with; 0 to 1. */
  readonly keptMin: number;
}

/** Our own default: one promise in ten broken is too many to teach by. */
const keptMinUsual = 0.9;

/** One stage from its start to the start of another. The same stage may have several, after a step back. */
export interface StagePeriod {
  readonly stage: Stage; // as it is edited now, with its parameters at the end of the period
  readonly from: Instant;
  readonly to: Instant | null; // null: the present one
}

/** A change that may have an effect on the birds. */
export interface ShapingStep {
  readonly changeId: string;
  readonly at: Instant;
  readonly stage: string;
  readonly before: StageParameters | null; // null where a stage was started
  readonly after: StageParameters;
}

export interface ProgrammeChange {
  readonly id: string;
  /** When it happened at the feeder; the order of the changes. */
  readonly at: Instant;
  readonly by: string;
  readonly reason: string;
  readonly content: ChangeContent;
  readonly undone: { readonly at: Instant; readonly by: string } | null;
}

export type ChangeContent =
  | { readonly kind: "stageStarted"; readonly stage: string }
  | { readonly kind: "parametersChanged"; readonly stage: string; readonly parameters: StageParameters }
  /** The whole row as it is from then on. */
  | { readonly kind: "stagesEdited"; readonly stages: readonly Stage[] }
  | { readonly kind: "keptMinChanged"; readonly keptMin: number };

/** @param changes in any order @param initial the stages before the first change */
export function programmeOf(changes: readonly ProgrammeChange[], initial: readonly Stage[]): Programme {
  const inForce = changes.filter(({ undone }) => undone === null).sort((a, b) => a.at - b.at);
  let programme: Programme = { stages: initial, periods: [], steps: [], keptMin: keptMinUsual };
  for (const change of inForce) programme = applyChange(programme, change);
  const { stages, periods } = programme;
  return { ...programme, periods: periods.map((period) => ({ ...period, stage: latest(stages, period.stage) })) };
}

/** As it is edited now; a stage that was removed since stays as it was. Only the present period follows changed parameters. */
const latest = (stages: readonly Stage[], stage: Stage): Stage => {
  const edited = stages.find(({ id }) => id === stage.id);
  return edited === undefined ? stage : { ...edited, parameters: stage.parameters };
};

/** A change that names a stage which is not there (its edit was undone) has no effect. */
function applyChange(programme: Programme, { id, at, content }: ProgrammeChange): Programme {
  switch (content.kind) {
    case "stagesEdited":
      return { ...programme, stages: content.stages };
    case "keptMinChanged":
      return { ...programme, keptMin: content.keptMin };
    case "stageStarted": {
      const stage = programme.stages.find((one) => one.id === content.stage);
      if (stage === undefined) return programme;
      const ended = programme.periods.map((period) => (period.to === null ? { ...period, to: at } : period));
      const step = { changeId: id, at, stage: stage.id, before: null, after: stage.parameters };
      return {
        ...programme,
        periods: [...ended, { stage, from: at, to: null }],
        steps: [...programme.steps, step],
      };
    }
    case "parametersChanged":
      return changeParameters(programme, { id, at, ...content });
  }
}

function changeParameters(
  programme: Programme,
  { id, at, stage, parameters }: { id: string; at: Instant; stage: string; parameters: StageParameters },
): Programme {
  const changed = programme.stages.find((one) => one.id === stage);
  if (changed === undefined) return programme;
  const current = presentPeriod(programme);
  const isPresent = current?.stage.id === stage;
  const step = { changeId: id, at, stage, before: changed.parameters, after: parameters };
  return {
    ...programme,
    stages: programme.stages.map((one) => (one === changed ? { ...one, parameters } : one)),
    periods: programme.periods.map((period) =>
      isPresent && period === current ? { ...period, stage: { ...period.stage, parameters } } : period,
    ),
    steps: isPresent ? [...programme.steps, step] : programme.steps,
  };
}

/** Null: no stage was started yet. */
export const presentPeriod = ({ periods }: Pick<Programme, "periods">): StagePeriod | null =>
  periods.find(({ to }) => to === null) ?? null;

/** The period that holds the moment; null: before the first one. */
export const periodAt = ({ periods }: Pick<Programme, "periods">, at: Instant): StagePeriod | null =>
  periods.findLast(({ from, to }) => from <= at && (to === null || at < to)) ?? null;

/** The parameters of the present stage at that moment, by its dated changes. */
export function parametersAt({ steps }: Pick<Programme, "steps">, at: Instant): StageParameters | null {
  return steps.findLast((step) => step.at <= at)?.after ?? null;
}

/** The stage after this one in the row; null: it is the last. */
export function nextStage({ stages }: Pick<Programme, "stages">, id: string): Stage | null {
  const index = stages.findIndex((stage) => stage.id === id);
  return index < 0 ? null : (stages[index + 1] ?? null);
}

export function previousStage({ stages }: Pick<Programme, "stages">, id: string): Stage | null {
  const index = stages.findIndex((stage) => stage.id === id);
  return index <= 0 ? null : (stages[index - 1] ?? null);
}
