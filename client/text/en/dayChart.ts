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
/** One under the other, left of the chart, where there is room for eight letters. */
export const rowNames = { visit: "visits", press: "presses", deposit: "deposits", portion: "portions" } as const;
export const legendLabel = "What the marks mean";
export const nightLabel = "night";
export const nightName = "night, drawn narrow";
export const twilightName = "twilight";
export const noReportName = "no report yet";
export const unpaidName = "deposit without a portion";
export const scaleText = (minutes: number) =>
  `Each bar counts ${minutes === 60 ? "an hour" : minutes === 120 ? "two hours" : `${minutes} minutes`}.`;
export const nightText = (spans: string) => `The dark band is the night, ${spans}.`;
export const spanText = (from: string, to: string) => `${from} to ${to}`;
export const openSpanText = (from: string) => `from ${from}`;
export const unreportedText = (from: string) => `After ${from} no report has come.`;
export const readerLabel = "Time of day";
export const nothingReading = (span: string) => `${span}: nothing recorded`;
export const unreportedReading = (span: string) => `${span}: no report yet`;
export const countsReading = (span: string, counts: string) => `${span}: ${counts}`;
export const countTexts = {
  visit: (count: number) => `${count} ${count === 1 ? "visit" : "visits"}`,
  press: (count: number) => `${count} ${count === 1 ? "press" : "presses"}`,
  deposit: (count: number) => `${count} ${count === 1 ? "deposit" : "deposits"}`,
  portion: (count: number) => `${count} ${count === 1 ? "portion" : "portions"}`,
} as const;
export const unpaidCountText = (count: number) => `${count} of them not paid`;
