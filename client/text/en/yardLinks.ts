export const digestLabel = "Daily digest";
export const digestTimeText = (time: string) => `at ${time}`;
export const digestOffText = "off";
export const onlyYouText = "only you";
export const peopleText = (count: number) => `${count} people`;
export const alarmHistoryLabel = "Alarm history";
export const alarmHistoryText = "numbers and advice";
export const notesLabel = "Notebook";
export const notesText = "what you saw and did";
