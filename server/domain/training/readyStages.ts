import { minutes, seconds } from "../instant.ts";
import type { Stage, StageKind, StageParameters } from "./stage.ts";

/**
 * Five stages to begin with, from free food to caps fetched from the garden. All figures are our own choice to start from, after common
 * practice (no source); a keeper edits them freely.
 */
export function readyStages(names: { readonly [kind in StageKind]: string }): readonly Stage[] {
  const stage = (kind: StageKind, of: Omit<Stage, "id" | "name" | "kind" | "usualDays">): Stage => ({
    ...{ id: kind, name: names[kind], kind, usualDays },
    ...of,
  });
  return [
    stage("comeForFood", {
      earns: { free: freeEvery(50), press: null, deposit: null },
      parameters: none,
      criterion: { share: 0.6, chanceShare: 0.3, actsADay: 5, days: 3 },
      stepBack,
    }),
    stage("pressForFood", {
      earns: { free: freeEvery(120), press: eachOne, deposit: null },
      parameters: none,
      criterion: { share: 0.4, chanceShare: 0.15, actsADay: 8, days: 3 },
      stepBack,
    }),
    stage("nudgeCap", {
      earns: { free: freeEvery(180), press: null, deposit: eachOne },
      parameters: { ...none, distanceCm: 5, capsLaid: 20 },
      criterion: { share: 0.3, chanceShare: 0.15, actsADay: 5, days: 3 },
      stepBack,
    }),
    stage("dropCap", {
      earns: { free: freeEvery(240), press: null, deposit: eachOne },
      parameters: { ...none, distanceCm: 30, capsLaid: 20 },
      criterion: { share: 0.3, chanceShare: 0.1, actsADay: 5, days: 3 },
      stepBack,
    }),
    stage("fetchCap", {
      earns: { free: freeEvery(240), press: null, deposit: eachOne },
      parameters: { ...none, distanceCm: 300, capsLaid: 30 },
      criterion: { share: 0.25, chanceShare: 0.1, actsADay: 5, days: 3 },
      stepBack,
    }),
  ];
}

const usualDays = { from: 7, to: 14 };
const none: StageParameters = {
  distanceCm: null,
  capsLaid: null,
  capsWhere: null,
  slotOpeningMm: null,
  gramsEach: null,
};
const stepBack = { share: 0.05 };
const eachOne = { ratio: { kind: "fixed", of: 1 }, atLeastBetween: seconds(2) } as const;
const freeEvery = (mean: number) => ({ kind: "variableTime", mean: minutes(mean) }) as const;
