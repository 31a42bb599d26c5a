/** Texts of a yard's season report. */
export const title = "Season report";
export const pageTitle = (yard: string) => `Season report of ${yard}`;
export const trainingLink = "Training";
export const printLabel = "Print it";
export const printHint = "Each stage begins a page. In the print dialogue it can be saved as a file, too.";
export const notOnPhoneText = "The report is put together by the server, and there is no connection.";
export const emptyText = "No stage was started yet, so there is nothing to report.";
export const leftOutText = "It covers one year: older days, stages or notes are left out.";
export const unreadableText = (days: number) =>
  days === 1 ? "1 day can't be read and is left out." : `${days} days can't be read and are left out.`;
export const siteText = "All figures are of the site, not of single birds: no sensor tells one bird from another.";

export const datesText = (from: string, to: string) => `${from} to ${to}`;
export const untilNowText = "now";
export const stageText = (number: number, of: number) => `Stage ${number} of ${of}`;
export const againText = (times: number) => `started for the ${times}. time`;

export const birdsTitle = "Birds over the day";
export const birdsSentence = "Bouts of visits an hour, on the mean of the days that could be judged.";
export const summaryTitle = "Promises by stage";
export const stageColumn = "Stage";
export const datesColumn = "Dates";
export const daysColumn = "Days";
export const promisedColumn = "Promised";
export const paidColumn = "Paid";
export const keptColumn = "Kept";
export const limitsColumn = "95 % sure between";
export const medianColumn = "Median wait";
export const noValue = "–";
export const betweenText = (low: string, high: string) => `${low} and ${high}`;

export const earnsTitle = "What earned a portion";
export const criterionTitle = "Criterion";
export const parametersTitle = "At the end of the stage";
export const changesTitle = "Changes";
export const noChangesText = "None.";
export const changeText = (time: string, text: string, reason: string, by: string) =>
  `${time}: ${text}. Reason: ${reason} (${by})`;
export const shareTitle = "How often they did it";
export const shareSentence =
  "The share of bouts with the act by day. Dashed: the criterion. Hollow: the day doesn't count.";
export const actsSentence = "Acts by day: no perch switch saw the visits. Dashed: the criterion.";
export const keptTitle = "Promises kept by day";
export const keptSentence = "Above the line: paid. Below it: not paid.";
export const latencyTitle = "From act to food";
export const latencySentence = "The median of each day as a dot; the line reaches up to 95 of 100.";
export const hoursTitle = "Acts over the day";
export const hoursSentence = "Acts an hour, on the mean of the days of this stage that could be judged.";
export const noDaysText = "No day of this stage was reported.";
export const promisesTitle = "Promises";
export const notesTitle = "Notes";
export const noteText = (time: string, by: string) => `${time}, ${by}`;
