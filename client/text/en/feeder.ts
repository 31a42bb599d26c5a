export const atTimeText = (time: string, text: string) => `At ${time}: ${text}`;
export const lastReportText = (ago: string, text: string) => `Last report ${ago}. ${text}`;
