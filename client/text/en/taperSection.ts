export const title = "Taper off";
export const offerText =
  "Birds that count on a feeder need time to find other food. Free food and the ration become less day by day, and then the plan gives nothing. Caps and presses that the plan still pays are paid until then.";
export const fromLabel = "First day with less food";
export const daysLabel = "Days until there is none";
export const daysUnit = "days";
export const startLabel = "Taper off feeding";
export const previewLabel = "Preview these days";
export const startedText = "Feeding is tapered off.";

export const runningText = (from: string, last: string) =>
  `less food day by day from ${from} on. The last day with food is ${last}; then the plan gives nothing, and pays no press and no cap.`;
export const endedText = (last: string) =>
  `Feeding has been tapered off. The last day with food was ${last}. The plan gives nothing now.`;
export const withdrawLabel = "Feed as before";
export const withdrawnText = "The plan gives the usual food again.";

export const cautionText =
  "In hard frost birds may depend on this food: don't end feeding then (common practice). The plan's free food in hard frost stays while you taper off and after that. Your local authority's rules come first, also where they end feeding at once.";

/** Beside a day of the plan. */
export const shareText = (percent: string) => (percent === "0" ? "no food" : `${percent} % of the usual food`);
