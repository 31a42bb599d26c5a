export const bothSilentText = "No reports from both feeders";
export const allSilentText = (count: number) => `No reports from all ${count} feeders`;
export const silentText = (feeders: string) => `No reports from ${feeders}`;
export const lastReportText = (time: string) => `Last report about ${time}`;
export const lastReportAcknowledgedText = (time: string) => `Last report about ${time}. Acknowledged`;
export const causeText = "They stopped at about the same time. The likely cause is their shared power or network.";
export const adviceText = "Check the shared power supply, its fuse and the router.";
