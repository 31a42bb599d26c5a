/** A change of a yard's training programme, as a keeper sends it. */
export const programmeChangeExample = {
  id: "change-0001",
  reason: "they come every morning",
  content: { kind: "stageStarted", stage: "comeForFood", changesPlans: true },
};
