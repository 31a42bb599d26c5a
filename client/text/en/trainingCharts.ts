/** Texts of the pictures of a yard's training record. */
/** The space doesn't break. */
export const percentText = (percent: string) => `${percent}\u00a0%`;
export const tableLabel = "Table";
export const dayColumn = "Day";

export const shareTitle = "How often they do it";
export const shareSentence = (share: string, days: number, criterion: string) =>
  `The share of bouts with the act: ${share} on the last ${days} days that count. The criterion is ${criterion}.`;
export const shareUnknownSentence = (criterion: string) =>
  `The share of bouts with the act. Too few days of this stage count so far; the criterion is ${criterion}.`;
export const actsSentence = (least: number, criterion: number) =>
  `No perch switch sees the visits, so these are acts a day: at least ${least} lately. The criterion asks for ${criterion}.`;
export const actsUnknownSentence = (criterion: number) =>
  `No perch switch sees the visits, so these are acts a day. The criterion asks for ${criterion}.`;
export const shareDayLabel = "Day of the shares";
export const shareReading = (day: string, stage: string, successes: number, trials: number, share: string) =>
  `${day}, ${stage}: ${successes} of ${trials} bouts, ${share}`;
export const actsReading = (day: string, stage: string, acts: number) => `${day}, ${stage}: ${acts} acts`;
export const noTrialsReading = (day: string, stage: string) => `${day}, ${stage}: no bouts`;
export const usualReading = (day: string) => `${day}: not yet; within the usual time of this stage`;
export const laterReading = (day: string) => `${day}: not yet`;
export const notCountedText = "doesn't count";
export const changePointText = (before: string, after: string) => `from here on ${after} instead of ${before}`;
export const changedText = (change: string) => `changed: ${change}`;
export const countsLegend = "day that counts";
export const hollowLegend = "doesn't count: other stage, fault, pause, silence, or not over";
export const criterionLegend = "criterion";
export const usualLegend = "usual time";
export const changePointLegend = "change point: before and after";
export const changeLegend = "your change";
export const legendLabel = "Marks";
export const stageColumn = "Stage";
export const boutsColumn = "Bouts";
export const withActColumn = "With the act";
export const shareColumn = "Share";
export const actsColumn = "Acts";
export const noteColumn = "Note";

export const keptTitle = "Promises kept by day";
export const keptSentence = (paid: number, promised: number, days: number) =>
  days === 0
    ? `All ${promised} promises of these weeks were paid.`
    : `${paid} of ${promised} promises of these weeks were paid; on ${days === 1 ? "1 day" : `${days} days`} not all of them.`;
export const nothingPromisedSentence = "Nothing was promised in these weeks: no act earned food.";
export const keptDayLabel = "Day of the promises";
export const keptReading = (day: string, paid: number, unpaid: number) =>
  unpaid === 0 ? `${day}: ${paid} paid` : `${day}: ${paid} paid, ${unpaid} not paid`;
export const nothingPromisedReading = (day: string) => `${day}: nothing promised`;
export const paidLegend = "paid";
export const unpaidLegend = "not paid";
export const paidColumn = "Paid";
export const unpaidColumn = "Not paid";

export const hoursTitle = "Over the day";
export const hoursSentence = (first: string, last: string, from: string, to: string) =>
  `They act between ${first} and ${last}, most from ${from} to ${to}: the mean of the days of this stage that count.`;
export const noActsSentence = "No act was seen on the days of this stage that count.";
export const hourLabel = "Hour of the day";
export const hourReading = (from: string, to: string, acts: string) => `${from} to ${to}: ${acts} acts a day`;
export const nightLegend = "night today";
export const hourColumn = "Hour";
export const actsADayColumn = "Acts a day";
export const clockText = (hour: number) => `${String(hour).padStart(2, "0")}:00`;

export const distanceTitle = "Distance and response";
export const halfSentence = (cm: string) =>
  `The further away, the rarer: half of the bouts have the act at about ${cm} cm. The band holds the true curve, 95 % sure.`;
export const noHalfSentence =
  "Within the distances that were tried, no distance was found at which half of the bouts have the act. The band holds the true curve, 95 % sure.";
export const distanceLabel = "Distance";
export const distanceReading = (cm: string, share: string, low: string, high: string) =>
  `${cm} cm: ${share} of the bouts, between ${low} and ${high}`;
export const centimetresText = (cm: string) => `${cm} cm`;
export const distanceColumn = "Distance";
export const lowColumn = "At least";
export const highColumn = "At most";
