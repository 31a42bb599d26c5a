export const compareLabel = "What would have rung?";
export const runningText = "Repeating the last 30 days with these settings. This takes up to a minute.";
export const offlineText = "To see what would have rung, connect to the server.";
export const nothingChangedText = "Change a setting first. Then see what would have rung with it.";
export const wrongFieldsText = "Correct the marked fields first.";
export const unreachableText = "Can't reach the server. Try again when there is a connection.";

export const title = "What would have rung";
const times = (count: number) => (count === 0 ? "not at all" : count === 1 ? "once" : `${count} times`);
const daysText = (days: number) => (days === 1 ? "In the last day" : `In the last ${days} days`);
export const summaryText = (days: number, proposed: number, present: number) =>
  `${daysText(days)} these settings would have rung ${times(proposed)}; the present ones ${times(present)}.`;
export const sameText = (days: number, count: number) =>
  `${daysText(days)} these settings would have rung ${times(count)}, at the same times as the present ones.`;

export const tableCaption = "By alarm: how often, and how long";
export const alarmHead = "Alarm";
export const presentHead = "Present";
export const proposedHead = "Changed";
export const noteName = (alarm: string) => `${alarm} (note)`;
export const urgentText = "urgent";
export const hoursText = (hours: string) => `${hours} h`;

export const onlyProposedTitle = (count: number) => `Only with these settings: ${count}`;
export const onlyPresentTitle = (count: number) => `Only with the present settings: ${count}`;
export const ringText = (at: string, alarm: string) => `${at}: ${alarm}`;
export const leftOutText = (count: number) => `${count} more are not shown.`;

export const methodText =
  "Counted: each first notification of this feeder alone. Not counted: reminders, quiet hours, alarms shared with other feeders. Notes come in the digest only.";
export const laterStartText = (at: string) => `Counted from ${at}: there is no data of this feeder before.`;
export const droppedText = (at: string) =>
  `Counted from ${at}: older readings are not stored any more, and without them nothing can be judged again.`;
export const learningText = (at: string) =>
  `Repeated from ${at} with nothing learnt before, so the first days may have more alarms.`;
export const incompleteText = "A part of the data can't be read and was left out.";
