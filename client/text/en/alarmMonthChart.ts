const daysText = (days: number) => (days === 1 ? "1 day" : `${days} days`);
export const noAlarmsText = (days: number) => `No alarms in ${daysText(days)}`;
export const alarmsText = (days: number, alarmDays: number, most: number) =>
  `Alarms on ${alarmDays} of ${daysText(days)}, at most ${most} on one day`;
export const noNotesText = (alarms: string) => `${alarms}.`;
export const notesText = (alarms: string, noteDays: number) => `${alarms}. Notes on ${daysText(noteDays)}.`;
