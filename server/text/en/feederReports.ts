export const feederReports = {
  trouble: (text: string) => `The feeder reports: ${text}`,
  troubleLabel: "the feeder's message",
};
