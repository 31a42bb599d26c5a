export const pauseLabel = "Pause";
export const resumeLabel = "Resume";
export const pauseUntilResumedLabel = "Pause until resumed";
export const pauseUntilText = (time: string) => `Pause until ${time}`;
export const headlineText = (order: string, state: string) => `${order}: ${state}`;
export const headlineAtText = (headline: string, time: string) => `${headline} at ${time}`;
/** After the name of the order: "Pause requested". */
export const orderStateTexts = {
  requested: "requested",
  sent: "sent, not yet confirmed",
  overdue: "not confirmed in time",
  confirmed: "confirmed by the feeder",
  refused: "refused by the feeder",
  contradicted: "not followed by the feeder",
  ended: "has ended",
  uncertain: "not certain any more",
} as const;
export const pauseEndedText = (time: string) => `Pause: ended at ${time}`;
export const pauseFailedFeedingText = "Pause failed: the feeder is feeding";
export const pauseFailedPortionText = "Pause failed: the feeder gave food";
export const pauseFailedReportText = "Pause failed: the feeder reports that it is feeding";
export const resumeFailedText = "Resume failed: the feeder reports that it is paused";
export const resumeUnknownText = "Resume: not known whether the feeder is feeding";
/** As it is listed until it is sent. */
export const pauseUntilResumedAction = "pause until resumed";
