export const feederReports = {
  trouble: (text: string) => `The feeder reports: ${text}`,
  troubleLabel: "the feeder's message",
  unreadable: (problem: string) => `Reports can't be read and are not stored. First problem: ${problem}.`,
  firstProblemLabel: "first problem",
  refusedSinceLabel: "refused since",
  refusedSince: "the first of them",
  bootReused: (boot: string, starts: number, moment: string) =>
    `Boot id ${boot} was used for ${starts} starts, last on ${moment}.`,
  bootLabel: "boot id",
  startsLabel: "starts under it",

  silent: (span: string, interval: string) => `No report for ${span}. It usually reports ${interval}.`,
  lastReportLabel: "last report",
  lastReport: "a report",
  usualIntervalLabel: "usual time between reports",
  longestGapLabel: "longest gap that is still credible",
  irregular: (moment: string, interval: string) =>
    `It has not reported since ${moment}, and its state is not known. To get an alarm when reports are missing, let its program send a report ${interval}, also without events.`,

  wholeReport: "the report",
  seqTwice: (seq: number) => `${seq} is the seq of another event in this report too; it is not stored, send it again`,
  /** Who did something that was logged without a name. */
  someKeeper: "the keeper",
};
