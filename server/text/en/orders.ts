export const orders = {
  feedsThoughPaused: {
    portions: (count: number) =>
      count === 1
        ? "The feeder confirmed the pause, but gave a portion since then."
        : `The feeder confirmed the pause, but gave ${count} portions since then.`,
    byHand: "The feeder reports that the last one was given by hand.",
    restarted: "It restarted and may have lost the pause.",
    sentAgain: "The pause is sent again.",
    confirmedLabel: "confirmation, no longer valid",
    confirmed: "done",
    lastLabel: "last portion",
    last: (cause: string) => `cause: ${cause}`,
  },
  pauseContradicted:
    "The feeder confirmed the pause, but reports since then that it is feeding. The pause is sent again.",
  refused: { pause: "The feeder refused to pause.", resume: "The feeder refused to resume." },
  itReports: (refusal: string, problem: string) => `${refusal} It reports: ${problem}`,
  pauseNotReachedAgain: "The feeder restarted while it was paused, and the pause has not reached it again.",
  pauseNotConfirmedAgain:
    "The feeder restarted while it was paused. The pause was sent again, but the feeder has not confirmed that it is paused.",
  pauseNotReached: "A pause was requested, but the order has not reached the feeder.",
  pauseNotConfirmed: "A pause was requested and sent, but the feeder has not confirmed that it is paused.",
  pausedAgain:
    "The feeder confirmed that it is feeding again, but reports since then that it is paused. Somebody may have paused it at the feeder, so the order is not sent again.",
  resumeNotReached: "Resume was requested, but the order has not reached the feeder.",
  resumeNotConfirmed: "Resume was requested and sent, but the feeder has not confirmed that it is feeding.",
  stillPaused: "The pause has ended, but the feeder still reports that it is paused.",
  requestedLabel: "requested",
  requestedBy: (name: string) => `by ${name}`,
  statementLabel: "feeder reports",
  statement: { none: "nothing about a pause", paused: "paused", notPaused: "not paused" },
};
