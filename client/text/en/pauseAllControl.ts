export const labels = { pauseAll: "Pause all", resumeAll: "Resume all" } as const;
/** Added to a label for screen readers. */
export const ofYardText = (yard: string) => ` feeders of ${yard}`;
export const questions = {
  pauseAll: (feeders: string, yard: string) => `Pause ${feeders} of ${yard}?`,
  resumeAll: (feeders: string, yard: string) => `Resume ${feeders} of ${yard}?`,
} as const;
export const warnings = {
  pauseAll: "Each feeder stops when it gets the order. Until it confirms, assume that it is feeding.",
  resumeAll: "First make sure that nobody is touching a feeder.",
} as const;
export const notIncludedText = (feeders: string) => ` Not included: ${feeders} (workshop or storage).`;
export const confirmLabels = { pauseAll: "Pause all", resumeAll: "Resume all" } as const;

export const oneFeederText = "the feeder";
export const bothFeedersText = "both feeders";
export const allFeedersText = (count: number) => `all ${count} feeders`;
export const someFeedersText = (count: number, all: number) => `${count} of ${all} feeders`;
