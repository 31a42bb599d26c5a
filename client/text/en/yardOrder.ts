export const pausedTitle = "Paused";
export const feedingAgainTitle = "Feeding again";
export const allConfirmedText = (title: string, all: number) => `${title}: all ${all} feeders confirmed.`;
export const someConfirmedText = (title: string, confirmed: number, all: number) =>
  `${title}: ${confirmed} of ${all} feeders confirmed.`;
export const notConfirmedText = (feeders: string) => ` Not confirmed: ${feeders}.`;
export const notIncludedText = (feeders: string) => ` Not included: ${feeders}.`;
