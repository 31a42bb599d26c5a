import type { ProgrammeChangeRequest, StageParametersRequest, StageRequest } from "../../contract/trainingRequest.ts";
import type { ChangeContent, ProgrammeChange } from "../../domain/training/programme.ts";
import type { Stage, StageParameters } from "../../domain/training/stage.ts";
import { grams } from "../../domain/units.ts";
import type { ProgrammeChangeRow } from "../../ports.ts";
import { earnedFood, freeSchedule, requestedEarned, requestedSchedule } from "./requestedFeeding.ts";

/** A programme as a keeper enters it, and back: `stageRequestOf` gives what `stageOf` was made from. */

const stageOf = ({ earns, parameters, ...stage }: StageRequest): Stage => ({
  ...stage,
  earns: {
    free: earns.free && freeSchedule(earns.free),
    press: earns.press && earnedFood(earns.press),
    deposit: earns.deposit && earnedFood(earns.deposit),
  },
  parameters: parametersOf(parameters),
});

export const stageRequestOf = ({ earns, ...stage }: Stage): StageRequest => ({
  ...stage,
  earns: {
    free: earns.free && requestedSchedule(earns.free),
    press: earns.press && requestedEarned(earns.press),
    deposit: earns.deposit && requestedEarned(earns.deposit),
  },
});

const parametersOf = ({ gramsEach, ...parameters }: StageParametersRequest): StageParameters => ({
  ...parameters,
  gramsEach: gramsEach === null ? null : grams(gramsEach),
});

export const programmeChangeOf = ({ id, at, by, reason, undone, content }: ProgrammeChangeRow): ProgrammeChange => ({
  ...{ id, at, by, reason, undone },
  content: contentOf(content),
});

function contentOf(content: ProgrammeChangeRequest["content"]): ChangeContent {
  switch (content.kind) {
    case "stageStarted":
      return { kind: "stageStarted", stage: content.stage };
    case "parametersChanged":
      return { ...content, parameters: parametersOf(content.parameters) };
    case "stagesEdited":
      return { kind: "stagesEdited", stages: content.stages.map(stageOf) };
    case "keptMinChanged":
      return content;
  }
}
