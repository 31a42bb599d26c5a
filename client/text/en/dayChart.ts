export const markNames = {
  visit: "visit",
  press: "press",
  deposit: "deposit",
  portion: "portion",
  refill: "refill",
  trouble: "problem",
  alarm: "alarm",
  note: "note",
} as const;
export const legendLabel = "What the marks mean";
export const nightName = "night, drawn narrower";
export const unpaidName = "deposit without a portion";
