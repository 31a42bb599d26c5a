/** The details of an order on a feeder's page. */
export const requestedText = (name: string, time: string) => `Requested by ${name} at ${time}.`;
export const requestedDetail = (requested: string) =>
  `${requested} The feeder gets it with its next report. Until then nothing changes.`;
export const sentDetail = (requested: string) => `${requested} Wait for the feeder's confirmation.`;
export const pauseOverdueDetail = (requested: string) =>
  `${requested} Assume that the feeder is still feeding. If it must stop, go there and switch it off.`;
export const resumeOverdueDetail = (requested: string) => `${requested} Assume that the feeder is still paused.`;
export const confirmedDetail = (time: string) => `The feeder confirmed at ${time}.`;
export const refusedDetail = (reason: string) => `The feeder reports: “${reason}”`;
export const refusedWithoutReasonDetail = "The feeder gave no reason.";
export const lostByRestartDetail = (time: string) =>
  `The feeder confirmed the pause at ${time} but has restarted since. The pause is sent again. Until it confirms again, assume that it is feeding.`;
export const pausedByHandDetail =
  "Somebody may have paused it at the feeder, so the order is not sent again. If nobody is at the feeder, press Resume again.";
export const pauseLostDetail = (confirmed: string, feeding: string, portions: number) => {
  const fed = portions === 0 ? "" : ` ${portions === 1 ? "One portion" : `${portions} portions`} since then.`;
  return `It confirmed the pause at ${confirmed}, but it was feeding again at ${feeding}.${fed} The pause is sent again. If it must stop, go there and switch it off.`;
};

/** Stages on the way to the feeder. */
export const stageTexts = {
  requested: "requested",
  sent: "sent",
  confirmed: "confirmed",
  refused: "refused",
  overdue: "no answer",
  contradicted: "not followed",
} as const;

export const resumeDueText = (time: string) =>
  `It was due to resume at ${time}. It has not reported since then whether it is feeding.`;
export const restartedText = (time: string) =>
  `It restarted at ${time} and has not reported since then whether it is feeding.`;
export const lastPortionText = (time: string) => `The feeder last gave food at ${time}.`;
export const noStateText = "The feeder has not reported yet whether it is feeding or paused.";
export const lastPausedText = (time: string) => `Last reported by the feeder: paused, at ${time}.`;
export const lastFeedingText = (time: string) => `Last reported by the feeder: feeding as usual, at ${time}.`;
