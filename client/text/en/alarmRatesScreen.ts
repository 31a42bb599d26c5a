export const title = "Alarm history";
export const notOnPhoneText = "The alarm history is not saved on this phone, and there is no connection.";
export const asOfText = (time: string) => `Data from ${time}.`;

export const adviceTitle = "Advice";
export const noAdviceText = "Nothing to change.";
export const chartText = "Line: alarm. Line with a flag: urgent alarm. Dot: day with notes.";

export const numbersTitle = "Numbers";
export const alarmsName = "Alarms";
export const urgentAlarmsName = "Urgent alarms";
export const acknowledgedName = "Acknowledged";
export const countOf = (count: number, all: number) => `${count} of ${all}`;
export const frequentTitle = "Most frequent alarms";
export const countAndShare = (count: number, percent: number) => `${count}, ${percent} %`;
